import { basename } from 'node:path'
import type { DeliveryReport } from '../domain/index.ts'
import { deliverProgramme, type Progress } from '../engine/index.ts'
import { inTimecode } from './clock.ts'
import { refuseNonFinite } from './finite.ts'
import { ScratchFolder } from './scratch.ts'
import { SingleOutput } from './single-output.ts'
import { refuseDamage, refuseSampleRate } from './source.ts'
import {
  askedOf,
  identityOf,
  inputsOf,
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
      },
      crew,
      new WavOutputs([file], source, {
        partPath: () => output.partPath,
        move: (places) => crew.move({ source: source.location, ...places }),
        cancellation: options.signal,
      }),
      progress === undefined ? {} : { progress },
    ),
  )
  if (isDelivered) output.place(report.deliverables[0]?.path)
  return { report: { ...report, findings: inTimecode(report.findings, source.clock) }, isWritten: isDelivered }
}
