import type { Clock, DeliverySpec, Finding, LayoutName, Passage } from '../domain/index.ts'
import { type Progress, passagesOfProgramme } from '../engine/index.ts'
import type { ChannelOptions } from '../media/index.ts'
import type { TimecodeOptions } from './clock.ts'
import { PassageExports, refuseSamePlace } from './passage-exports.ts'
import { passagesSheet } from './passages-sheet.ts'
import { ScratchFolder } from './scratch.ts'
import { SingleOutput } from './single-output.ts'
import { openSource, programmeOf, refuseChanged } from './source.ts'
import { isListening, type JobOptions, withCrew } from './with-crew.ts'

export type PassagesOptions = JobOptions &
  ChannelOptions &
  TimecodeOptions & {
    readonly spec: DeliverySpec
    /** The spec as it was named: the name of a preset, or a path. */
    readonly specName: string
    /** A sheet to write that has the suggested trims in it. */
    readonly sheet?: string | undefined
    /** Files to export to; the endings choose the formats. */
    readonly exports: readonly string[]
    readonly replaces: boolean
  }

/** Where one file is too loud or too soft for a spec. */
export type PassagesOfFile = {
  readonly path: string
  readonly layout: LayoutName
  readonly sampleRateHz: number
  readonly frameCount: number
  readonly clock: Clock | null
  readonly programmeLoudnessLkfs: number | null
  readonly conforms: boolean
  readonly passages: readonly Passage[]
  readonly findings: readonly Finding[]
}

/** Measures one file against a spec, finds the passages worth going back to, and exports them. */
export async function findPassages(
  path: string,
  options: PassagesOptions,
  progress?: (progress: Progress) => void,
): Promise<PassagesOfFile> {
  using scratch = new ScratchFolder()
  const { sheet: sheetPath, specName, signal } = options
  refuseSamePlace([...options.exports, ...(sheetPath === undefined ? [] : [sheetPath])])
  const places = { replaces: options.replaces, sources: [path] }
  using outputs = new PassageExports(options.exports, places)
  using sheet = sheetPath === undefined ? null : new SingleOutput(sheetPath, places)
  const source = await openSource(path, () => scratch.path, options, signal)
  outputs.refuseUnfit(source)
  const listens = isListening(options)
  const { passages, measurements, judgement } = await withCrew(source, { ...options, listens }, (crew) =>
    passagesOfProgramme(crew, programmeOf(source), options.spec, progress === undefined ? {} : { progress }, listens),
  )
  refuseChanged(source)
  if (sheet !== null) {
    const { path: writtenTo } = sheet
    sheet.writeText(await passagesSheet(source, passages, { ...options, sheetPath: writtenTo, specName, signal }))
  }
  await outputs.write(source, passages, signal)
  sheet?.place()
  const findings = [...source.findings, ...judgement.findings]
  return {
    path,
    layout: source.layout,
    sampleRateHz: source.format.sampleRateHz,
    frameCount: source.frameCount,
    clock: source.clock,
    programmeLoudnessLkfs: measurements.programmeLoudnessLkfs,
    conforms: findings.every((finding) => finding.severity !== 'fail'),
    passages,
    findings,
  }
}
