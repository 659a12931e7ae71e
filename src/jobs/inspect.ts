import type { Clock, Finding, Inspection, LayoutName, SpeechLane } from '../domain/index.ts'
import { inspectProgramme, type Progress } from '../engine/index.ts'
import type { ChannelOptions } from '../media/index.ts'
import { inTimecode, type TimecodeOptions } from './clock.ts'
import { type EachFile, eachFile } from './each-file.ts'
import { ScratchFolder } from './scratch.ts'
import { openSource, programmeOf } from './source.ts'
import { isListening, type JobOptions, withCrew } from './with-crew.ts'

export type InspectedFile = Inspection & {
  readonly path: string
  readonly container: string
  readonly bitsPerSample: number
  readonly layout: LayoutName
  readonly sampleRateHz: number
  readonly frameCount: number
  readonly durationSeconds: number
  readonly clock: Clock | null
  readonly speech: SpeechLane | null
  /** What is odd about the file itself. */
  readonly findings: readonly Finding[]
}

type InspectOptions = JobOptions & ChannelOptions & TimecodeOptions

/** Inspects one file after the other; all workers share each. */
export function inspectFiles(
  paths: readonly string[],
  options: InspectOptions,
  progress?: (progress: Progress) => void,
): Promise<EachFile<InspectedFile>> {
  return eachFile(paths, (path, told) => inspectFile(path, options, told), { progress })
}

/** Finds out what one file really is and what is wrong with it. */
async function inspectFile(
  path: string,
  options: InspectOptions,
  progress: (progress: Progress) => void,
): Promise<InspectedFile> {
  using scratch = new ScratchFolder()
  const source = await openSource(path, () => scratch.path, options, options.signal)
  const listens = isListening(options)
  return await withCrew(source, { ...options, listens }, async (crew) => {
    const { container, bitsPerSample, layout, format, frameCount, clock } = source
    const { inspection, speech } = await inspectProgramme(crew, programmeOf(source), { progress }, listens)
    return {
      path,
      container,
      bitsPerSample,
      layout,
      sampleRateHz: format.sampleRateHz,
      frameCount,
      durationSeconds: frameCount / format.sampleRateHz,
      clock,
      speech,
      findings: inTimecode(source.findings, clock),
      ...inspection,
    }
  })
}
