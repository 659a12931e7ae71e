import { basename } from 'node:path'
import type { DeliveryReport, DeliverySpec, FitSettings } from '../domain/index.ts'
import { deliverProgramme, type Progress, titleIdOf } from '../engine/index.ts'
import type { ChannelOptions } from '../media/index.ts'
import { inTimecode, type TimecodeOptions } from './clock.ts'
import { refuseNonFinite } from './finite.ts'
import { ScratchFolder } from './scratch.ts'
import { SingleOutput } from './single-output.ts'
import { openSource, orderedSource, refuseDamage, refuseSampleRate } from './source.ts'
import { TOOL_VERSION } from './tool.ts'
import { nonconformingName, WavOutputs } from './wav-outputs.ts'
import { type JobOptions, withCrew } from './with-crew.ts'

export type FitOptions = JobOptions &
  ChannelOptions &
  TimecodeOptions & {
    readonly spec: DeliverySpec
    readonly fit: FitSettings
    readonly bitsPerSample: 16 | 24
    readonly replaces: boolean
    readonly keepsNonconforming: boolean
  }

/** Fits one file of any layout to a spec; the layout stays. What does not conform is not written, unless it is kept. */
export async function fitFile(
  path: string,
  outPath: string,
  options: FitOptions,
  progress?: (progress: Progress) => void,
): Promise<{ readonly report: DeliveryReport; readonly isWritten: boolean }> {
  using scratch = new ScratchFolder()
  const otherNames = options.keepsNonconforming ? [nonconformingName(basename(outPath))] : []
  using output = new SingleOutput(outPath, { replaces: options.replaces, sources: [path], otherNames })
  const source = await openSource(path, () => scratch.path, options, options.signal)
  refuseDamage(source)
  refuseSampleRate(source, options.spec)
  await refuseNonFinite(source, options.signal)
  const encoding = options.bitsPerSample === 16 ? 'int16' : 'int24'
  const { layout } = source
  const role = layout === '5.1' ? 'mix-5.1' : 'mix'
  const file = { audio: 'multichannel', role, layout, encoding, name: basename(outPath) } as const
  const { report, isDelivered } = await withCrew(source, options, (crew, kernels) =>
    deliverProgramme(
      {
        tool: { version: TOOL_VERSION, kernelsSha256: kernels.sha256 },
        title: { id: titleIdOf(basename(path)), name: source.titleId },
        source: orderedSource(source, options.signal),
        spec: options.spec,
        upmix: null,
        // No stereo travels along: the file itself lands on the target.
        fit: { ...options.fit, anchor: '5.1', stereoGain: 'linked' },
        trims: [],
        locks: [],
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
