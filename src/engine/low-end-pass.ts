import { HOPS_PER_SEGMENT, type LowEndPlan, type Measured, segmentCount } from '../domain/index.ts'
import { bySegment, bySegments, type Tell } from './by-segment.ts'
import type { Crew } from './crew.ts'
import { planLowEnd } from './decide/index.ts'
import type { DeliveryOrder } from './delivery-order.ts'
import { type Analysed, joinAnalysed } from './forecast-pass.ts'
import { orderUnder } from './render-pass.ts'

/** The analysis of what the treatment of the low end leaves, and that treatment; absent: there was nothing to treat. */
export type Treated = Analysed & { readonly lowEnd?: LowEndPlan }

/**
 * Looks for excess low end, decides what to do about it, and measures anew where something will be done: all that comes
 * later does only what this leaves to do. Of an upmix the master is looked at: its low end is that of the stereo.
 */
export async function treatLowEnd(order: DeliveryOrder, analysed: Analysed, crew: Crew, tell: Tell): Promise<Treated> {
  const { source, fit, programme } = order
  if (fit.lowEnd === 'off' || fit.stages === 'trims') return analysed
  const { lowEndCrossoverHz: crossoverHz } = fit
  const parts = await bySegment(
    crew,
    source,
    (segment) => ({ kind: 'low-end', segment, crossoverHz }),
    (share) => tell(share / 2),
  )
  const products = joined(parts)
  const lowEnd = planLowEnd({ products, sampleRateHz: source.sampleRateHz, programme }, fit)
  if (lowEnd === null) return analysed
  const segments = await measuredAnew(order, analysed.segments, lowEnd, crew, (share) => tell((1 + share) / 2))
  return { ...analysed, ...joinAnalysed(segments, analysed.sourceParts), lowEnd }
}

/** Measures the segments that change; the others are what they were. */
async function measuredAnew(
  order: DeliveryOrder,
  before: readonly Measured[],
  lowEnd: LowEndPlan,
  crew: Crew,
  tell: Tell,
): Promise<readonly Measured[]> {
  const { frameCount, sampleRateHz } = order.source
  const all = Array.from({ length: segmentCount(frameCount, sampleRateHz) }, (_, segment) => segment)
  const acting = all.filter((segment) => isAtWorkIn(lowEnd, segment))
  const plan = { staticGainDb: 0, rideDb: null, ceilingDbtp: null, programme: order.programme, lowEnd }
  const trial = await orderUnder(order, plan)
  const measured = await bySegments(crew, acting, (segment) => ({ kind: 'forecast', segment, order: trial }), tell)
  return before.map((segment, index) => measured[acting.indexOf(index)] ?? segment)
}

function isAtWorkIn({ gainDb }: LowEndPlan, segment: number): boolean {
  const first = segment * HOPS_PER_SEGMENT
  return gainDb.subarray(Math.max(0, first - 1), first + HOPS_PER_SEGMENT + 1).some((db) => db !== 0)
}

function joined(parts: readonly Float64Array[]): Float64Array {
  const whole = new Float64Array(parts.reduce((sum, part) => sum + part.length, 0))
  let at = 0
  for (const part of parts) {
    whole.set(part, at)
    at += part.length
  }
  return whole
}
