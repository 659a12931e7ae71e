import { basename } from 'node:path'
import type { DeliveryReport } from '../domain/index.ts'
import { deliverProgramme, type Progress } from '../engine/index.ts'
import { alterationPicture } from '../report/index.ts'
import { inTimecode } from './clock.ts'
import { refuseNonFinite } from './finite.ts'
import { ScratchFolder } from './scratch.ts'
import { refuseOneName, SingleOutput } from './single-output.ts'
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
    /** Where what was altered is drawn; absent: nowhere. */
    readonly picturePath?: string | undefined
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
  using difference = besideOutput(options.differencePath, named, options)
  using picture = besideOutput(options.picturePath, named, options)
  refuseOneName([output, difference, picture])
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
  const told = { ...report, findings: inTimecode(report.findings, source.clock) }
  if (isDelivered) {
    picture?.writeText(alterationPicture(told))
    placeAll(output, [difference, picture], report.conforms)
  }
  return { report: told, isWritten: isDelivered }
}

/**
 * Puts the fitted file and what was made of it in their places. Several files cannot move at once, so what lies beside it
 * goes first and the new ones come last: whenever this is cut off, no file has the difference of another beside it.
 */
function placeAll(output: SingleOutput, beside: readonly (SingleOutput | null)[], conforms: boolean): void {
  const nameOf = ({ path }: SingleOutput) => (conforms ? basename(path) : nonconformingName(basename(path)))
  for (const each of beside) each?.clear(nameOf(each))
  output.place(nameOf(output))
  for (const each of beside) each?.place(nameOf(each))
}

/** What the difference is called among the outputs of a run, and in its header; its path is the user's. */
function differenceName(outPath: string): string {
  return `${basename(outPath, '.wav')}: difference`
}

/** Where something is to lie beside the fitted file: on no source. Null where it was not asked for. */
function besideOutput(path: string | undefined, named: NamedTitle, options: FitOptions): SingleOutput | null {
  if (path === undefined) return null
  const otherNames = options.keepsNonconforming ? [nonconformingName(basename(path))] : []
  return new SingleOutput(path, { replaces: options.replaces, sources: inputsOf(named), otherNames })
}
