import {
  type Alteration,
  gainToDb,
  gatedLoudness,
  HOPS_PER_SECOND,
  type Measured,
  shortTerm,
  toHops,
} from '../../domain/index.ts'
import type { Certificate, Decision } from './decision.ts'

/** The alteration with the figures that go beyond the ones that every report carries. */
export type FitAlteration = Alteration & {
  readonly total: {
    /** Likeness of the short-term loudness curves before and after, -1..1; 1 where only a constant was changed. */
    readonly shortTermCorrelation: number | null
  }
  readonly ride: Pick<Certificate, 'largestMoveDb' | 'areaUnderReductionDbSeconds'> | null
}

/**
 * What the fit did to a mix, as numbers.
 * @param before and @param after the same signal before and after: for an upmix the stereo master and the delivered
 *   stereo, else the source and the delivered file
 * @param ceiling what the render reports of the ceiling stage; null where it did not run
 */
export function describeAlteration(
  decision: Decision,
  before: Measured,
  after: Measured,
  ceiling: Alteration['ceiling'],
): FitAlteration {
  const { certificate, plan } = decision
  return {
    total: {
      staticGainDb: plan.staticGainDb,
      plrBeforeLu: peakToLoudnessRatio(before),
      plrAfterLu: peakToLoudnessRatio(after),
      shortTermCorrelation: correlation(shortTermCurve(before), shortTermCurve(after)),
    },
    ride:
      certificate === null
        ? null
        : {
            movementDb: certificate.movementDb,
            largestMoveDb: certificate.largestMoveDb,
            largestSlewDbPerSecond: certificate.largestSlewDbPerSecond,
            movingShare: certificate.movingShare,
            areaUnderReductionDbSeconds: certificate.areaUnderReductionDbSeconds,
            touching: certificate.touching,
          },
    bands: null,
    ceiling,
  }
}

/** Highest true peak minus programme loudness, LU; null where either cannot be measured. */
function peakToLoudnessRatio(measured: Measured): number | null {
  const loudness = gatedLoudness(toHops(measured.programme10ms))
  const peak = measured.channels.reduce((highest, channel) => Math.max(highest, channel.truePeak.value), 0)
  return loudness === null || peak === 0 ? null : gainToDb(peak) - loudness
}

/** Short-term loudness, ten times a second. */
function shortTermCurve(measured: Measured): Float64Array {
  return shortTerm(toHops(measured.programme10ms), HOPS_PER_SECOND)
}

/** Pearson's correlation of two curves over the places where both have a value; null where one of them is level. */
function correlation(some: Float64Array, other: Float64Array): number | null {
  const both = some.map((value, k) => (Number.isFinite(value) && Number.isFinite(other[k]) ? 1 : 0))
  const count = both.reduce((sum, counts) => sum + counts, 0)
  const meanOf = (curve: Float64Array) =>
    curve.reduce((sum, value, k) => (both[k] === 1 ? sum + value : sum), 0) / count
  const someMean = meanOf(some)
  const otherMean = meanOf(other)
  let someSquares = 0
  let otherSquares = 0
  let products = 0
  for (const [k, value] of some.entries()) {
    if (both[k] !== 1) continue
    const a = value - someMean
    const b = (other[k] as number) - otherMean
    someSquares += a * a
    otherSquares += b * b
    products += a * b
  }
  const scale = Math.sqrt(someSquares * otherSquares)
  return scale > 0 ? products / scale : null
}
