import {
  floorToGainStep,
  framesPerHop,
  type GainPlan,
  gainToDb,
  HOPS_PER_SECOND,
  type Measured,
  type SlowCeiling,
} from '../../domain/index.ts'
import { gainsOfHops } from './ceiling-forecast.ts'
import { slidingMaximum } from './sliding-maximum.ts'

/**
 * Peaks that come again within this time are one passage of work for the ceiling: between them the gain stays down
 * instead of swinging with every hit. A pulse of 60 a minute is held together.
 */
const HELD_TOGETHER_SECONDS = 1
/** Work that is over sooner is left to the fast part: a single hit ducks nothing beside it. */
const SHORTEST_SECONDS = 0.4
/** Peaks of one passage differ; what is at most this much deeper than the passage is held over a longer gap. */
const UNEVENNESS_DB = 1
const UNEVEN_TOGETHER_SECONDS = 4
/** The slow part ends this far below the ceiling, so that on steady sound the fast part rests altogether. */
const AIM_BELOW_DB = 0.03

/**
 * The most that the slow part may take off the total. Where it would take more, the programme lives at its ceiling, and
 * holding it down means turning it down: then the slow part goes only so deep, and the fast part does the rest.
 * @source docs/decisions/0023
 */
const MOST_OF_TOTAL_LU = 1

/**
 * The slow part of the ceiling under a plan, for the linked signals and for the LFE; null where nothing lasts.
 * @param totalTakenLu by how much the total falls under a gain in dB on each hop; absent: it does not matter
 */
export function planSlowCeiling(
  measured: Measured,
  plan: GainPlan,
  totalTakenLu: (slowDb: Float64Array) => number = () => 0,
): SlowCeiling | null {
  if (plan.ceilingDbtp === null) return null
  const gainsDb = gainsOfHops(plan, measured.linkedPeak100ms.length)
  silenceOutside(gainsDb, plan.programme, framesPerHop(measured.sampleRateHz))
  const aimDbtp = plan.ceilingDbtp - AIM_BELOW_DB
  const lfeAimDbtp = (plan.lfeCeilingDbtp ?? plan.ceilingDbtp) - AIM_BELOW_DB
  const linkedDb = asDeepAsMayBe(slowReduction(measured.linkedPeak100ms, gainsDb, aimDbtp), totalTakenLu)
  const { lfeRideDb = null } = plan
  const lfeGainsDb = lfeRideDb === null ? gainsDb : gainsDb.map((gainDb, hop) => gainDb + (lfeRideDb[hop] as number))
  const lfeDb = measured.lfePeak100ms === null ? null : slowReduction(measured.lfePeak100ms, lfeGainsDb, lfeAimDbtp)
  return linkedDb === null && lfeDb === null ? null : { linkedDb, lfeDb }
}

/** The deepest limit of a reduction under which the total falls by no more than it may; null where none does. */
function asDeepAsMayBe(
  slowDb: Float64Array | null,
  totalTakenLu: (slowDb: Float64Array) => number,
): Float64Array | null {
  if (slowDb === null || totalTakenLu(slowDb) <= MOST_OF_TOTAL_LU) return slowDb
  const limitedTo = (depthDb: number) => slowDb.map((db) => Math.max(db, -floorToGainStep(depthDb)))
  let allowed = 0
  let tooDeep = -slowDb.reduce((a, b) => Math.min(a, b))
  for (let step = 0; step < DEPTH_STEPS; step++) {
    const depth = (allowed + tooDeep) / 2
    if (totalTakenLu(limitedTo(depth)) <= MOST_OF_TOTAL_LU) allowed = depth
    else tooDeep = depth
  }
  return floorToGainStep(allowed) === 0 ? null : limitedTo(allowed)
}

/** Halvings of the depth: 24 dB come down to a hundredth of a decibel. */
const DEPTH_STEPS = 11

/** What is no programme is not held below the ceiling. */
function silenceOutside(gainsDb: Float64Array, programme: GainPlan['programme'], hopFrames: number): void {
  let from = 0
  for (const { startFrame, endFrame } of programme ?? []) {
    gainsDb.fill(Number.NEGATIVE_INFINITY, from, Math.floor(startFrame / hopFrames))
    from = Math.ceil(endFrame / hopFrames)
  }
  if (programme !== undefined) gainsDb.fill(Number.NEGATIVE_INFINITY, from)
}

/**
 * Gain in dB, 0 or less, one point a hop, in steps of a plan's gains: what the ceiling has to take of each 100 ms, with
 * gaps closed over and short work left out. Planned with the whole programme in view, so no release has to guess.
 * @source morphological closing and opening, J. Serra, "Image Analysis and Mathematical Morphology", 1982 (from memory)
 */
function slowReduction(peaks: Float64Array, gainsDb: Float64Array, aimDbtp: number): Float64Array | null {
  const overDb = peaks.map((peak, hop) =>
    peak > 0 ? Math.max(0, gainToDb(peak) + (gainsDb[hop] as number) - aimDbtp) : 0,
  )
  const lasting = opened(closed(overDb, HELD_TOGETHER_SECONDS), SHORTEST_SECONDS)
  const within = (db: number, hop: number) => {
    const passageDb = lasting[hop] as number
    return passageDb > 0 ? Math.min(Math.max(db, passageDb), passageDb + UNEVENNESS_DB) : 0
  }
  const evened = opened(closed(overDb.map(within), UNEVEN_TOGETHER_SECONDS), SHORTEST_SECONDS).map(within)
  return evened.every((db) => db === 0) ? null : evened.map((db) => -ceilToGainStep(db))
}

function ceilToGainStep(db: number): number {
  return -floorToGainStep(-db)
}

/** Fills every gap shorter than `seconds`: the least that any window of that length around a hop holds at most. */
function closed(values: Float64Array, seconds: number): Float64Array {
  const hops = Math.round(seconds * HOPS_PER_SECOND)
  const negated = (of: Float64Array) => of.map((value) => -value)
  const highest = highestAhead(withSilenceAround(values, hops), hops)
  const least = negated(highestAhead(negated(highest), hops))
  return least.subarray(1, 1 + values.length)
}

/** Levels every rise shorter than `seconds`: the filling of what lies above the curve. */
function opened(values: Float64Array, seconds: number): Float64Array {
  const hops = Math.round(seconds * HOPS_PER_SECOND)
  const negated = (of: Float64Array) => of.map((value) => -value)
  const least = negated(highestAhead(negated(withSilenceAround(values, hops)), hops))
  return highestAhead(least, hops).subarray(1, 1 + values.length)
}

/** Outside of the programme the ceiling has nothing to do. */
function withSilenceAround(values: Float64Array, hops: number): Float64Array {
  const padded = new Float64Array(values.length + 2 * hops)
  padded.set(values, hops)
  return padded
}

function highestAhead(values: Float64Array, hops: number): Float64Array {
  return slidingMaximum(
    values,
    values.length,
    (k) => k,
    (k) => k + hops,
  )
}
