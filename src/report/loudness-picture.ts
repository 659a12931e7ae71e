import type {
  DeliveryReport,
  DeliverySpec,
  LoudnessHistory,
  Measurements,
  Passage,
  ProgrammeLanes,
} from '../domain/index.ts'
import { excessInWords, numberedPlaces, passageInWords } from './places.ts'

/** A place that the chart brackets and numbers. */
export type PicturedPlace = {
  readonly number: number
  readonly startSeconds: number
  readonly endSeconds: number
  readonly words: string
  /** A limit is missed here, or it is only worth going back to. */
  readonly isMissed: boolean
  /** The field of the measurements whose curve is hatched beyond `limit`; null: the place is only bracketed. */
  readonly line: string | null
  readonly limit: number | null
  readonly side: 'above' | 'below'
}

/** Everything that a chart of loudness over time draws. */
export type LoudnessPicture = {
  /** What the curves are of, e.g. `delivered mix`. */
  readonly subject: string
  readonly spec: DeliverySpec | null
  readonly durationSeconds: number
  readonly startOfDaySeconds: number | null
  readonly drawn: LoudnessHistory
  /** A second short-term curve, dotted; null: none. */
  readonly beside: LoudnessHistory | null
  readonly figures: Measurements
  readonly places: readonly PicturedPlace[]
  readonly lanes: ProgrammeLanes | null
}

/** The chart of a delivery: the first file that was delivered, or the source where nothing was. */
export function pictureOfDelivery(report: DeliveryReport): LoudnessPicture {
  const isDelivered = report.deliverables.length > 0
  return {
    subject: isDelivered ? 'delivered mix' : 'source',
    spec: report.spec,
    durationSeconds: report.source.measurements.durationSeconds,
    startOfDaySeconds: report.source.startOfDaySeconds,
    drawn: report.history.delivered,
    beside: isDelivered ? report.history.source : null,
    figures: report.deliverables[0]?.measurements ?? report.source.measurements,
    places: numberedPlaces(report).map(({ number, finding, at }) => ({
      number,
      ...at,
      words: excessInWords(finding),
      isMissed: finding.severity === 'fail',
      line: finding.line,
      limit: typeof finding.allowed === 'number' ? finding.allowed : null,
      side: 'above',
    })),
    lanes: report.history.lanes,
  }
}

/** Passages as the chart marks them, numbered by their rank. */
export function placesOfPassages(passages: readonly Passage[], sampleRateHz: number): readonly PicturedPlace[] {
  return passages.map((passage) => ({
    number: passage.rank,
    startSeconds: passage.startFrame / sampleRateHz,
    endSeconds: passage.endFrame / sampleRateHz,
    words: passageInWords(passage),
    isMissed: passage.excess > 0,
    line: passage.line,
    limit: typeof passage.allowed === 'number' ? passage.allowed : null,
    side: passage.kind === 'too-soft' ? 'below' : 'above',
  }))
}
