import {
  areBandsAtWork,
  type BandsPlan,
  bandTreatments,
  LAYOUTS,
  type LowEndPlan,
  lowEndAsBands,
  type Measured,
  segmentAt,
  segmentCount,
} from '../domain/index.ts'
import { bySegment, bySegments, type Tell } from './by-segment.ts'
import type { Crew } from './crew.ts'
import { crossoversOf, lowEndMode, planBands, planLowEnd } from './decide/index.ts'
import type { DeliveryOrder } from './delivery-order.ts'
import { type Analysed, joinAnalysed } from './forecast-pass.ts'
import { orderUnder } from './render-pass.ts'

/** What is done to bands of a programme before all else. */
export type BandTreatment = { readonly lowEnd?: LowEndPlan; readonly bands?: BandsPlan }

/** The analysis of what the treatment of bands leaves, and that treatment. */
export type Treated = Analysed & BandTreatment

/**
 * Looks for excess low end and for bands above their thresholds, decides what to do about them, and measures anew where
 * something will be done: all that comes later does only what this leaves to do. Of an upmix the master is looked at: its
 * bands are those of the stereo.
 */
export async function treatBandsFirst(
  order: DeliveryOrder,
  analysed: Analysed,
  crew: Crew,
  tell: Tell,
): Promise<Treated> {
  if (order.fit.stages === 'trims') return analysed
  const third = (from: number) => (share: number) => tell((from + share) / 3)
  const lowEnd = await planOfLowEnd(order, crew, third(0))
  const bands = await planOfBands(order, lowEnd, crew, third(1))
  const treatment = { ...(lowEnd !== null && { lowEnd }), ...(bands !== null && { bands }) }
  if (lowEnd === null && bands === null) return analysed
  const segments = await measuredAnew(order, analysed.segments, treatment, crew, third(2))
  return { ...analysed, ...joinAnalysed(segments, analysed.sourceParts), ...treatment }
}

async function planOfLowEnd(order: DeliveryOrder, crew: Crew, tell: Tell): Promise<LowEndPlan | null> {
  const { source, fit, programme } = order
  if (lowEndMode(fit) === 'off') return null
  const { lowEndCrossoverHz: crossoverHz } = fit
  const parts = await bySegment(crew, source, (segment) => ({ kind: 'low-end', segment, crossoverHz }), tell)
  return planLowEnd({ products: joined(parts), sampleRateHz: source.sampleRateHz, programme }, fit)
}

async function planOfBands(
  order: DeliveryOrder,
  lowEnd: LowEndPlan | null,
  crew: Crew,
  tell: Tell,
): Promise<BandsPlan | null> {
  const { source, fit, programme } = order
  if (fit.bands !== 'manual') return null
  const crossoversHz = crossoversOf(fit)
  const before = lowEnd === null ? null : { plan: lowEndAsBands(lowEnd), programme }
  const parts = await bySegment(crew, source, (segment) => ({ kind: 'bands', segment, crossoversHz, before }), tell)
  const channelCount = LAYOUTS[source.layout].filter((role) => role !== 'LFE').length
  return planBands({ squares: joined(parts), channelCount, sampleRateHz: source.sampleRateHz, programme }, fit)
}

/** Measures the segments that change; the others are what they were. */
async function measuredAnew(
  order: DeliveryOrder,
  before: readonly Measured[],
  treatment: BandTreatment,
  crew: Crew,
  tell: Tell,
): Promise<readonly Measured[]> {
  const { frameCount, sampleRateHz } = order.source
  const plan = { staticGainDb: 0, rideDb: null, ceilingDbtp: null, programme: order.programme, ...treatment }
  const all = Array.from({ length: segmentCount(frameCount, sampleRateHz) }, (_, segment) => segment)
  const acting = all.filter((index) => {
    const frames = { ...segmentAt(index, frameCount, sampleRateHz), sampleRateHz }
    return bandTreatments(plan).some((bands) => areBandsAtWork(bands, frames))
  })
  const trial = await orderUnder(order, plan)
  const measured = await bySegments(crew, acting, (segment) => ({ kind: 'forecast', segment, order: trial }), tell)
  return before.map((segment, index) => measured[acting.indexOf(index)] ?? segment)
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
