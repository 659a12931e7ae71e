import type { DeliverySpec, Finding, LoudnessCurves, Margin, Measurements } from '../domain/index.ts'
import { measureProgramme, type Progress } from '../engine/index.ts'
import type { ChannelOptions } from '../media/index.ts'
import type { TimecodeOptions } from './clock.ts'
import { ScratchFolder } from './scratch.ts'
import { openSource, programmeOf } from './source.ts'
import { isListening, type JobOptions, withCrew } from './with-crew.ts'

export type MeasuredFile = Measurements & {
  readonly path: string
  readonly bitsPerSample: number
  readonly conforms: boolean
  readonly findings: readonly Finding[]
  /** Empty where no spec was named. */
  readonly margins: readonly Margin[]
  readonly curves: LoudnessCurves
}

/** Measures one file, against a spec if one is given. */
export async function measureFile(
  path: string,
  options: JobOptions & ChannelOptions & TimecodeOptions & { readonly spec?: DeliverySpec | undefined },
  progress?: (progress: Progress) => void,
): Promise<MeasuredFile> {
  using scratch = new ScratchFolder()
  const source = await openSource(path, () => scratch.path, options, options.signal)
  const listens = isListening(options)
  return await withCrew(source, { ...options, listens }, async (crew) => {
    const { measurements, judgement, curves } = await measureProgramme(
      crew,
      programmeOf(source),
      options.spec ?? null,
      progress === undefined ? {} : { progress },
      listens,
    )
    const findings = [...source.findings, ...judgement.findings]
    return {
      path,
      ...measurements,
      bitsPerSample: source.bitsPerSample,
      conforms: findings.every((finding) => finding.severity !== 'fail'),
      findings,
      margins: judgement.margins,
      curves,
    }
  })
}

/** Loudness over time as CSV (RFC 4180): seconds, momentary and short-term loudness at the end of each window, every 100 ms. */
export function seriesCsv(curves: LoudnessCurves): string {
  const { momentary, shortTerm } = curves
  const rows = ['seconds,momentaryLkfs,shortTermLkfs']
  const stride = Math.round(CSV_STEP_SECONDS / momentary.hopSeconds)
  const lag = Math.round((shortTerm.windowSeconds - momentary.windowSeconds) / momentary.hopSeconds)
  for (let index = 0; index < momentary.lkfs.length; index += stride) {
    const seconds = index * momentary.hopSeconds + momentary.windowSeconds
    rows.push(`${seconds.toFixed(1)},${cell(momentary.lkfs[index])},${cell(shortTerm.lkfs[index - lag])}`)
  }
  return `${rows.join('\r\n')}\r\n`
}

const CSV_STEP_SECONDS = 0.1

/** A window that is not full yet, or in which nothing is heard, has no value. */
function cell(lkfs: number | undefined): string {
  return lkfs === undefined || !Number.isFinite(lkfs) ? '' : lkfs.toFixed(2)
}
