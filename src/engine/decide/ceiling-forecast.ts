import {
  dbToGain,
  FINE_HOPS_PER_HOP,
  type GainPlan,
  HOPS_PER_SEGMENT,
  type Measured,
  powerToDb,
  toHops,
} from '../../domain/index.ts'
import { riddenHops } from './ridden-energies.ts'

/**
 * By how much an interpolated peak can exceed the samples around it: the largest sum of absolute coefficients of one
 * phase of the interpolating filter (2.0226), with room for rounding.
 * @source ITU-R BS.1770-5 Annex 2, table of coefficients
 */
const HIGHEST_OVERSHOOT = 2.023

/**
 * The segments (25.6 s each, by index) in which the ceiling may act under a plan: those that hold, or border on, a hop
 * whose highest sample could exceed the ceiling once it is interpolated. Elsewhere it is sure to rest.
 */
export function ceilingCandidates(measured: Measured, plan: GainPlan): number[] {
  if (plan.ceilingDbtp === null) return []
  const ceiling = dbToGain(plan.ceilingDbtp)
  const peaks = measured.linkedPeak100ms
  const last = peaks.length - 1
  const segments = new Set<number>()
  const gainsDb = gainsOfHops(plan, peaks.length)
  for (let hop = 0; hop <= last; hop++) {
    const before = Math.max(hop - 1, 0)
    const after = Math.min(hop + 1, last)
    const gainDb = Math.max(gainsDb[before] as number, gainsDb[hop] as number, gainsDb[after] as number)
    if ((peaks[hop] as number) * HIGHEST_OVERSHOOT * dbToGain(gainDb) <= ceiling) continue
    for (const near of [before, hop, after]) segments.add(Math.floor(near / HOPS_PER_SEGMENT))
  }
  for (let segment = 0; segment * HOPS_PER_SEGMENT <= last; segment++) {
    if (isSlowAtWork(plan, segment)) segments.add(segment)
  }
  return [...segments].sort((a, b) => a - b)
}

/** Whether the slow part of the ceiling holds the linked signals down anywhere in a segment. */
export function isSlowAtWork({ slowCeiling }: GainPlan, segment: number): boolean {
  const first = segment * HOPS_PER_SEGMENT
  const points = slowCeiling?.linkedDb?.subarray(Math.max(0, first - 1), first + HOPS_PER_SEGMENT + 1)
  return points?.some((db) => db < 0) ?? false
}

/**
 * Most gain that is added to make up for the loudness that the ceiling takes. Beyond it the ceiling, which is there for
 * peaks, would make the level: more gain then hardly raises the total and only presses the mix.
 * @source docs/decisions/0012
 */
export const MOST_CEILING_MAKE_UP_DB = 3

/** The measurement of one segment rendered under the plan, ceiling included. */
export type RenderedSegmentReading = { readonly segment: number; readonly measured: Measured }

/**
 * What the ceiling takes from each hop, in dB, 0 or less: what a rendered segment holds less than its source under the
 * same static gain and ride. Hops of segments that were not rendered lose nothing.
 */
export function ceilingLoss(
  measured: Measured,
  plan: GainPlan,
  readings: readonly RenderedSegmentReading[],
): Float64Array {
  const gainsDb = gainsOfHops(plan, measured.linkedPeak100ms.length)
  const expected = riddenHops(measured.programme10ms, toHops(measured.programme10ms), gainsDb)
  const lossDb = new Float64Array(Math.ceil(measured.programme10ms.length / FINE_HOPS_PER_HOP))
  for (const reading of readings) {
    const rendered = toHops(reading.measured.programme10ms)
    for (const [index, energy] of rendered.entries()) {
      const hop = reading.segment * HOPS_PER_SEGMENT + index
      const before = expected[hop] ?? 0
      if (energy > 0 && energy < before) lossDb[hop] = powerToDb(energy / before)
    }
  }
  return lossDb
}

/** Static gain and ride of each hop. */
export function gainsOfHops(plan: GainPlan, hopCount: number): Float64Array {
  if (plan.rideDb === null) return new Float64Array(hopCount).fill(plan.staticGainDb)
  return plan.rideDb.map((rideDb) => plan.staticGainDb + rideDb)
}
