import {
  areBandsAtWork,
  type BandLinePlan,
  type BandsPlan,
  bandTreatments,
  LAYOUTS,
  type LowEndPlan,
  lowEndAsBands,
  type Measured,
  segmentAt,
  segmentCount,
} from '../domain/index.ts'
import { bySegment, bySegments, joinedHops, type Tell } from './by-segment.ts'
import type { Crew } from './crew.ts'
import { crossoversOf, type FitCorrection, lowEndMode, planBands, planLowEnd } from './decide/index.ts'
import type { DeliveryOrder } from './delivery-order.ts'
import { type Analysed, joinAnalysed } from './forecast-pass.ts'
import { orderUnder } from './render-pass.ts'

/** What is done to bands of a programme before all else. */
export type BandTreatment = {
  readonly lowEnd?: LowEndPlan
  readonly bands?: BandsPlan
  readonly bandLines?: readonly BandLinePlan[]
}

/** The analysis of what the treatment of bands leaves, and that treatment. */
export type Treated = Analysed & BandTreatment & Pick<FitCorrection, 'sub100ms'>

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
  return treatedBy(order, analysed, treatment, crew, third(2))
}

/** The analysis of what a treatment of bands leaves, measured anew where it does something. */
export async function treatedBy(
  order: DeliveryOrder,
  analysed: Analysed,
  treatment: BandTreatment,
  crew: Crew,
  tell: Tell,
): Promise<Treated> {
  const isIdle = Object.keys(treatment).length === 0
  const segments = isIdle ? [] : await measuredAnew(order, analysed.segments, treatment, crew, tell)
  const treated = isIdle ? analysed : { ...analysed, ...joinAnalysed(segments, analysed.sourceParts), ...treatment }
  const sub100ms = await subLevelsUnder(order, analysed, treatment, crew)
  return sub100ms === null ? treated : { ...treated, sub100ms }
}

/** The levels of the sub behind the treatment; null where no line of the spec moves the LFE. */
async function subLevelsUnder(
  order: DeliveryOrder,
  { whole }: Analysed,
  treatment: BandTreatment,
  crew: Crew,
): Promise<Float64Array | null> {
  const { spec, source, programme } = order
  const lines = [spec.maxLfeShortTermDbfs, spec.maxLfeOverFrontsDb]
  if (lines.every((limit) => limit?.severity !== 'fail') || whole.lfePeak100ms === null) return null
  const plan = { staticGainDb: 0, rideDb: null, ceilingDbtp: null, programme, ...treatment }
  const under = await orderUnder(order, plan)
  const task = (segment: number) => ({ kind: 'unfitted-sub-levels', segment, order: under }) as const
  return joinedHops(await bySegment(crew, source, task, () => {}))
}

async function planOfLowEnd(order: DeliveryOrder, crew: Crew, tell: Tell): Promise<LowEndPlan | null> {
  const { source, fit, programme } = order
  if (lowEndMode(fit) === 'off') return null
  const { lowEndCrossoverHz: crossoverHz } = fit
  const parts = await bySegment(crew, source, (segment) => ({ kind: 'low-end', segment, crossoverHz }), tell)
  return planLowEnd({ products: joinedHops(parts), sampleRateHz: source.sampleRateHz, programme }, fit)
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
  return planBands({ squares: joinedHops(parts), channelCount, sampleRateHz: source.sampleRateHz, programme }, fit)
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
