import { type Alteration, FINE_HOPS_PER_HOP, gainToDb, type Measured } from '../../domain/index.ts'
import type { Certificate, Decision } from './decision.ts'
import { SHORT_TERM_FINE_HOPS } from './judged-lines.ts'
import { gatedLoudness, hopEnergies, loudnessOfEnergy, windowEnergies } from './loudness-shim.ts'

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
  const loudness = gatedLoudness(hopEnergies(measured.programme10ms))
  const peak = measured.channels.reduce((highest, channel) => Math.max(highest, channel.truePeak.value), 0)
  return loudness === null || peak === 0 ? null : gainToDb(peak) - loudness
}

/** Short-term loudness at each hop; windows of silence read `-Infinity`. */
function shortTermCurve(measured: Measured): Float64Array {
  const windows = windowEnergies(measured.programme10ms, SHORT_TERM_FINE_HOPS)
  return Float64Array.from({ length: Math.ceil(windows.length / FINE_HOPS_PER_HOP) }, (_, hop) =>
    loudnessOfEnergy(windows[hop * FINE_HOPS_PER_HOP] as number),
  )
}

/** Pearson's correlation of two curves, over the places where both have a value; null where one of them is level. */
function correlation(some: Float64Array, other: Float64Array): number | null {
  const count = Math.min(some.length, other.length)
  const pairs: (readonly [number, number])[] = []
  for (let k = 0; k < count; k++) {
    const pair = [some[k] as number, other[k] as number] as const
    if (Number.isFinite(pair[0]) && Number.isFinite(pair[1])) pairs.push(pair)
  }
  const meanOf = (index: 0 | 1) => pairs.reduce((sum, pair) => sum + pair[index], 0) / pairs.length
  const means = [meanOf(0), meanOf(1)] as const
  let squaresOfSome = 0
  let squaresOfOther = 0
  let products = 0
  for (const pair of pairs) {
    const a = pair[0] - means[0]
    const b = pair[1] - means[1]
    squaresOfSome += a * a
    squaresOfOther += b * b
    products += a * b
  }
  const scale = Math.sqrt(squaresOfSome * squaresOfOther)
  return scale > 0 ? products / scale : null
}
