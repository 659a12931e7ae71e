import { basename, dirname, join, resolve } from 'node:path'
import type { DeliveryReport } from '../domain/index.ts'
import { deliverProgramme, type Progress } from '../engine/index.ts'
import { inTimecode } from './clock.ts'
import { refuseNonFinite } from './finite.ts'
import { refuse } from './refusals.ts'
import { ScratchFolder } from './scratch.ts'
import { SingleOutput } from './single-output.ts'
import { refuseDamage, refuseSampleRate } from './source.ts'
import {
  askedOf,
  identityOf,
  inputsOf,
  type NamedTitle,
  nameTitle,
  openTitle,
  orderedTitle,
  specOrRefusal,
  type TitleOptions,
} from './title.ts'
import { TOOL_VERSION } from './tool.ts'
import { nonconformingName, WavOutputs } from './wav-outputs.ts'
import { isListening, type JobOptions, withCrew } from './with-crew.ts'

export type FitOptions = JobOptions &
  TitleOptions & {
    readonly bitsPerSample: 16 | 24
    readonly replaces: boolean
    readonly keepsNonconforming: boolean
    /** Where what was done beyond the static gain is written; absent: nowhere. */
    readonly differencePath?: string | undefined
  }

/** Fits one title of any layout, named by its file or its sheet, to a spec; the layout stays. What does not conform is not written, unless it is kept. */
export async function fitFile(
  path: string,
  outPath: string,
  options: FitOptions,
  progress?: (progress: Progress) => void,
): Promise<{ readonly report: DeliveryReport; readonly isWritten: boolean }> {
  using scratch = new ScratchFolder()
  const otherNames = options.keepsNonconforming ? [nonconformingName(basename(outPath))] : []
  const named = await nameTitle([path])
  using output = new SingleOutput(outPath, { replaces: options.replaces, sources: inputsOf(named), otherNames })
  using difference = besideOutput(outPath, named, options)
  const title = await openTitle(named, () => scratch.path, options)
  const { source } = title
  const spec = specOrRefusal(title)
  refuseDamage(source)
  refuseSampleRate(source, spec)
  await refuseNonFinite(source, options.signal)
  const encoding = options.bitsPerSample === 16 ? 'int16' : 'int24'
  const { layout } = source
  const role = layout === '5.1' ? 'mix-5.1' : 'mix'
  const file = { audio: 'multichannel', role, layout, encoding, name: basename(outPath) } as const
  const outputs =
    difference === null
      ? [file]
      : [
          file,
          { ...file, audio: 'difference', role: null, encoding: 'float32', name: differenceName(outPath) } as const,
        ]
  const listens = isListening(options)
  const { report, isDelivered } = await withCrew(source, { ...options, listens }, (crew, kernels) =>
    deliverProgramme(
      {
        tool: { version: TOOL_VERSION, kernelsSha256: kernels.sha256 },
        title: identityOf(title),
        source: orderedTitle(title, options.signal),
        spec,
        upmix: null,
        // No stereo travels along: the file itself lands on the target.
        fit: { ...title.fit, anchor: '5.1', stereoGain: 'linked' },
        ...askedOf(title),
        listens,
        bitsPerSample: options.bitsPerSample,
        stereo: false,
        keepsNonconforming: options.keepsNonconforming,
        writesGain: false,
        writesDifference: options.differencePath !== undefined,
      },
      crew,
      new WavOutputs(outputs, source, {
        partPath: (name) => (name === differenceName(outPath) ? (difference ?? output) : output).partPath,
        move: (places) => crew.move({ source: source.location, ...places }),
        cancellation: options.signal,
      }),
      progress === undefined ? {} : { progress },
    ),
  )
  if (isDelivered) placeBoth(output, difference, report.conforms)
  return { report: { ...report, findings: inTimecode(report.findings, source.clock) }, isWritten: isDelivered }
}

/**
 * Puts the fitted file and its difference in their places. Two files cannot move at once, so the difference that lies
 * there goes first and the new one comes last: whenever this is cut off, no file has the difference of another beside it.
 */
function placeBoth(output: SingleOutput, difference: SingleOutput | null, conforms: boolean): void {
  const nameOf = ({ path }: SingleOutput) => (conforms ? basename(path) : nonconformingName(basename(path)))
  difference?.clear(nameOf(difference))
  output.place(nameOf(output))
  difference?.place(nameOf(difference))
}

/** What the difference is called among the outputs of a run, and in its header; its path is the user's. */
function differenceName(outPath: string): string {
  return `${basename(outPath, '.wav')}: difference`
}

/** Where the difference is to lie: on no source, and not where the fitted file will. */
function besideOutput(outPath: string, named: NamedTitle, options: FitOptions): SingleOutput | null {
  const { differencePath, replaces, keepsNonconforming } = options
  if (differencePath === undefined) return null
  const otherNames = (path: string) => (keepsNonconforming ? [nonconformingName(basename(path))] : [])
  const placesOf = (path: string) =>
    [path, ...otherNames(path).map((name) => join(dirname(path), name))].map((place) => resolve(place))
  if (placesOf(outPath).some((path) => placesOf(differencePath).includes(path))) {
    throw refuse('JOBS_OUTPUT_EXISTS', `write the difference "${differencePath}"`, 'the name of the fitted file', {
      remedy: 'Give --write-difference a name of its own.',
    })
  }
  const sources = inputsOf(named)
  return new SingleOutput(differencePath, { replaces, sources, otherNames: otherNames(differencePath) })
}
