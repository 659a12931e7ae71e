import { type Finding, LEQ_M_LONGEST_SECONDS, leqM, printFigure } from '../domain/index.ts'
import { bySegment, type ProgrammeShape, type TrimmedProgramme, trimmedOf } from './by-segment.ts'
import type { Crew } from './crew.ts'

export type LeqMMeasurement = {
  /** Null of silence. */
  readonly leqMDb: number | null
  readonly findings: readonly Finding[]
}

/** Leq(m) of the source, under its trims, from its first frame to its last, without any gate. @source ISO 21727:2016 */
export async function measureLeqM(crew: Crew, programme: ProgrammeShape & TrimmedProgramme): Promise<LeqMMeasurement> {
  const segments = await bySegment(
    crew,
    programme,
    (segment) => ({ kind: 'leq-m', segment, audio: 'source', trimmed: trimmedOf(programme) }),
    () => {},
  )
  const sums = segments.reduce((total, energies) => total.map((sum, channel) => sum + (energies[channel] as number)))
  const seconds = programme.frameCount / programme.sampleRateHz
  return {
    leqMDb: leqM(sums, programme.frameCount, programme.layout),
    findings: seconds > LEQ_M_LONGEST_SECONDS ? [tooLong(seconds)] : [],
  }
}

function tooLong(seconds: number): Finding {
  return {
    id: 'leq-m-long',
    severity: 'note',
    line: 'leqMDb',
    measured: seconds,
    allowed: LEQ_M_LONGEST_SECONDS,
    unit: 's',
    at: null,
    source: 'ISO 21727:2016',
    message:
      `Leq(m) is made for trailers and commercials of up to ${LEQ_M_LONGEST_SECONDS / 60} minutes; over ` +
      `${printFigure(seconds / 60)} minutes it says how loud the whole is, and no limit of the trade applies to it.`,
  }
}
