import {
  type Finding,
  framesPerHop,
  type GainPlan,
  gainToDb,
  HOPS_PER_SEGMENT,
  isJudgedOnDialogue,
  joinMeasured,
  LAYOUTS,
  type Measured,
  type MeasuredPart,
  type SpeechLane,
  spokenHops,
  spokenLoudness,
  trimPoints,
} from '../domain/index.ts'
import { bySegments, type Tell } from './by-segment.ts'
import type { Crew } from './crew.ts'
import {
  ceilingCandidates,
  ceilingLoss,
  chooseGains,
  type Decision,
  type FitCorrection,
  isSlowAtWork,
  MOST_CEILING_MAKE_UP_DB,
} from './decide/index.ts'
import type { DeliveryOrder } from './delivery-order.ts'
import { renderOrder } from './render-pass.ts'

/** What is to be fitted, and the highest true peak of each segment; the LFE has no say in the common gain. */
export type Analysed = {
  readonly whole: Measured
  readonly segments: readonly Measured[]
  readonly truePeaks: readonly number[]
  /** The source as it is, each stretch of programme by itself; null where all of it is programme. */
  readonly sourceParts: readonly MeasuredPart[] | null
  /** Where there is dialogue in the source; null where nobody listened. */
  readonly speech: SpeechLane | null
  /** Of the stretches that ought to be silent. */
  readonly findings: readonly Finding[]
}

export function joinAnalysed(
  segments: readonly Measured[],
  sourceParts: Analysed['sourceParts'],
): Omit<Analysed, 'findings' | 'speech'> {
  return { whole: joinMeasured(segments), segments, truePeaks: segments.map(highestTruePeak), sourceParts }
}

function highestTruePeak({ layout, channels, foldDown }: Measured): number {
  const mains = channels.filter((_, channel) => LAYOUTS[layout][channel] !== 'LFE')
  return [...mains, ...(foldDown ?? [])].reduce((highest, { truePeak }) => Math.max(highest, truePeak.value), 0)
}

/** Chooses the gains; where the ceiling may act, a trial of those segments tells what it will take. */
export async function decide(
  order: DeliveryOrder,
  analysed: Omit<Analysed, 'findings' | 'segments'> &
    Pick<FitCorrection, 'lowEnd' | 'bands' | 'bandLines' | 'sub100ms'>,
  crew: Crew,
  tell: Tell,
): Promise<{ readonly decision: Decision; readonly correction: FitCorrection }> {
  const { lowEnd, bands, bandLines, sub100ms } = analysed
  const treatment = {
    ...(lowEnd !== undefined && { lowEnd }),
    ...(bands !== undefined && { bands }),
    ...(bandLines !== undefined && { bandLines }),
    ...(sub100ms !== undefined && { sub100ms }),
  }
  const asked = { ...askedOf(order), ...dialogueOf(order, analysed), ...treatment }
  const first = await tryOut(order, analysed, asked, crew, tell)
  if (first.decision.feasible || (first.tried.plan.slowCeiling ?? null) === null) return first
  // What both parts take can be more than gain can make up for: then single peaks are all that is held.
  const second = await tryOut(order, analysed, { ...asked, slowCeiling: null }, crew, tell)
  return second.decision.feasible ? second : first
}

/** Chooses, lets the ceiling act on trial where it may, and chooses again with what it takes. */
async function tryOut(
  order: DeliveryOrder,
  { whole, truePeaks }: Pick<Analysed, 'whole' | 'truePeaks'>,
  asked: FitCorrection,
  crew: Crew,
  tell: Tell,
): Promise<{ readonly decision: Decision; readonly correction: FitCorrection; readonly tried: Decision }> {
  const decision = chooseGains(whole, order.spec, order.fit, asked)
  const { plan } = decision
  const tried = decision.feasible
    ? ceilingCandidates(whole, plan).filter((segment) => nearsCeiling(truePeaks[segment] as number, segment, plan))
    : []
  if (tried.length === 0) return { decision, correction: asked, tried: decision }
  const trial = await renderOrder(order, decision)
  const rendered = await bySegments(crew, tried, (segment) => ({ kind: 'forecast', segment, order: trial }), tell)
  const readings = tried.map((segment, index) => ({ segment, measured: rendered[index] as Measured }))
  const correction = {
    ...asked,
    ceilingLossDb: ceilingLoss(whole, plan, readings),
    slowCeiling: plan.slowCeiling ?? null,
    ceilingBoundDb: plan.staticGainDb + MOST_CEILING_MAKE_UP_DB,
  }
  return { decision: chooseGains(whole, order.spec, order.fit, correction), correction, tried: decision }
}

/** Where the dialogue is, and whose loudness is held against the target where the spec is anchored on it. */
function dialogueOf(
  order: DeliveryOrder,
  { whole, sourceParts, speech }: Pick<Analysed, 'whole' | 'sourceParts' | 'speech'>,
): FitCorrection {
  if (speech === null) return {}
  const spoken = spokenLoudness(sourceParts ?? [{ startFrame: 0, measured: whole }], speech)
  const anchor = isJudgedOnDialogue(order.spec, spoken) ? { dialogue100ms: spokenHops(speech) } : {}
  return { speech100ms: speech.isSpeech100ms, ...anchor }
}

/** What the mixer asked for beyond the settings. */
function askedOf({ source, trims, locks, limits, programme }: DeliveryOrder): FitCorrection {
  const hopFrames = framesPerHop(source.sampleRateHz)
  const trimsDb = trimPoints(trims, Math.ceil(source.frameCount / hopFrames), hopFrames)
  return { locks, limits, ...(trimsDb !== null && { trimsDb }), ...(programme !== undefined && { programme }) }
}

/**
 * The ceiling looks closer between the samples than a meter does; what it finds beyond this lasts for so few samples
 * that it has no say in the loudness. A forecast only saves renders: what was written is measured in any case.
 */
const CLOSER_LOOK_DB = 1

/** Whether the true peak of a segment comes near the ceiling under a plan. */
function nearsCeiling(truePeak: number, segment: number, plan: GainPlan): boolean {
  if (plan.ceilingDbtp === null) return false
  if (isSlowAtWork(plan, segment)) return true
  return gainToDb(truePeak) + highestGainDb(segment, plan) > plan.ceilingDbtp - CLOSER_LOOK_DB
}

/** The highest gain of a segment, static and ride, from the hop before it to the hop after it. */
function highestGainDb(segment: number, { staticGainDb, rideDb }: GainPlan): number {
  if (rideDb === null) return staticGainDb
  const first = segment * HOPS_PER_SEGMENT
  const points = rideDb.subarray(Math.max(0, first - 1), first + HOPS_PER_SEGMENT + 1)
  return staticGainDb + points.reduce((highest, rideDbOfHop) => Math.max(highest, rideDbOfHop))
}
