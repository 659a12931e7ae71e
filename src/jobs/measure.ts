import type {
  DeliverySpec,
  Finding,
  LoudnessCurves,
  LoudnessHistory,
  Margin,
  Measurements,
  ProgrammeLanes,
} from '../domain/index.ts'
import { measureProgramme, type Progress, thinHistory, thinLanes } from '../engine/index.ts'
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
  /** The same thinned for drawing, and what is drawn under it. */
  readonly drawn: { readonly history: LoudnessHistory; readonly lanes: ProgrammeLanes }
  readonly startOfDaySeconds: number | null
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
    const programme = programmeOf(source)
    const { measured, measurements, judgement, curves, speech } = await measureProgramme(
      crew,
      programme,
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
      drawn: { history: thinHistory(curves, measurements.durationSeconds), lanes: thinLanes(measured, speech) },
      startOfDaySeconds: programme.startOfDaySeconds,
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
