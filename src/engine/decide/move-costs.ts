import {
  dbToPower,
  FINE_HOPS_PER_HOP,
  FINE_HOPS_PER_SECOND,
  type FitSettings,
  floorToGainStep,
  GAIN_STEP_DB,
  gatedLoudness,
  HOPS_PER_SECOND,
  powerOf,
  toHops,
} from '../../domain/index.ts'
import { slidingMaximum } from './sliding-maximum.ts'
import type { MoveCosts } from './weighted-ride.ts'

/**
 * What a decibel costs where ears forgive it most and least. Ours: the order is the trade's, the ratios were chosen so
 * that no detour through open sound is taken to save a decibel in a line.
 * @source docs/decisions/0025
 */
export const MOVE_WEIGHTS = { underAttack: 1, inPause: 1, open: 4, steady: 8, beforeHit: 16, inDialogue: 32 } as const

/** A hit: this far above the second before it, and this far above the programme. */
const HIT_RISE_DB = 10
const HIT_OVER_PROGRAMME_LU = 8
/** The time before a hit in which a move would announce it. */
const ANNOUNCING_SECONDS = 1
/** A pause: this far below what is heard before and after it, or this far below the programme, and lasting. */
const PAUSE_DROP_DB = 10
const PAUSE_BELOW_PROGRAMME_LU = 20
const PAUSE_AROUND_HOPS = 15
const SHORTEST_PAUSE_HOPS = 3
const ABSOLUTE_GATE_LKFS = -70
/** Steady sound stays within this for a second. */
const STEADY_WITHIN_DB = 2
const STEADY_HOPS = 5
/** A move of up to two steps hides behind an attack: what follows it within 0.2 s is heard as one with it. */
const STEPS_UNDER_ATTACK = 2

/**
 * What each step of the ride costs and how fast it may be, read from the energies of the programme.
 * @param energies10ms of the programme under the mixer's trims
 * @param speech100ms 1 on the hops of the lines of dialogue; null where nobody listened
 * @returns one value for each step between the `hopCount` points of a ride
 */
export function moveCosts(
  energies10ms: Float64Array,
  speech100ms: Uint8Array | null,
  hopCount: number,
  settings: FitSettings,
): MoveCosts {
  const hops = toHops(energies10ms)
  const { weight, slewDb } = evenCosts(hopCount, settings)
  const stepCount = weight.length
  const pauseSlewDb = Math.max(perHop(settings.ridePauseSlewDbPerSecond), perHop(settings.rideSlewDbPerSecond))
  const attackSlewDb = Math.max(perHop(settings.rideAttackSlewDbPerSecond), perHop(settings.rideSlewDbPerSecond))
  const isPause = pausesOf(hops)
  const isSteady = steadyHops(hops)
  const isInDialogue = (k: number) => speech100ms !== null && (speech100ms[k] === 1 || speech100ms[k + 1] === 1)
  for (let k = 0; k < stepCount; k++) {
    if (isInDialogue(k)) weight[k] = MOVE_WEIGHTS.inDialogue
    else if (isPause[k] === 1 && (isPause[k + 1] ?? 1) === 1) {
      weight[k] = MOVE_WEIGHTS.inPause
      slewDb[k] = pauseSlewDb
    } else if (isSteady[k] === 1) weight[k] = MOVE_WEIGHTS.steady
  }
  const hits10ms = hitsOf(energies10ms, hops)
  const attacks = hits10ms.map((hit) => Math.ceil(hit / FINE_HOPS_PER_HOP - 0.5))
  for (const firstAfter of attacks) {
    const announcing = Math.max(0, firstAfter - ANNOUNCING_SECONDS * HOPS_PER_SECOND)
    for (let k = announcing; k < Math.min(firstAfter, stepCount); k++) {
      weight[k] = Math.max(weight[k] as number, MOVE_WEIGHTS.beforeHit)
      slewDb[k] = perHop(settings.rideSlewDbPerSecond)
    }
  }
  for (const firstAfter of attacks) {
    for (let k = firstAfter; k < Math.min(firstAfter + STEPS_UNDER_ATTACK, stepCount); k++) {
      // A hit hides the move, but not the level of the voice on both sides of it.
      if (!isInDialogue(k)) weight[k] = MOVE_WEIGHTS.underAttack
      slewDb[k] = attackSlewDb
    }
  }
  return { weight, slewDb, hits10ms }
}

/** Every move costs the same: where no line binds, nothing moves. */
export function evenCosts(hopCount: number, settings: FitSettings): MoveCosts {
  const stepCount = Math.max(0, hopCount - 1)
  return {
    weight: new Float64Array(stepCount).fill(MOVE_WEIGHTS.open),
    slewDb: new Float64Array(stepCount).fill(perHop(settings.rideSlewDbPerSecond)),
    hits10ms: [],
  }
}

function perHop(slewDbPerSecond: number): number {
  return Math.max(floorToGainStep(slewDbPerSecond / HOPS_PER_SECOND), GAIN_STEP_DB)
}

/** 1 on hops of pauses: far below what sounds before and after them, or below the programme, for 0.3 s at least. */
function pausesOf(hops: Float64Array): Uint8Array {
  const sums = runningSums(hops)
  const drop = dbToPower(-PAUSE_DROP_DB)
  const programmeLkfs = gatedLoudness(hops) ?? ABSOLUTE_GATE_LKFS
  const soft = powerOf(Math.max(programmeLkfs - PAUSE_BELOW_PROGRAMME_LU, ABSOLUTE_GATE_LKFS))
  const isSoft = Uint8Array.from(hops, (energy, k) => {
    const before = meanOf(sums, k - PAUSE_AROUND_HOPS, k + 1)
    const after = meanOf(sums, k, k + PAUSE_AROUND_HOPS + 1)
    return energy <= Math.min(before, after) * drop || energy <= soft ? 1 : 0
  })
  for (let first = 0; first < isSoft.length; ) {
    let end = first
    while (end < isSoft.length && isSoft[end] === 1) end++
    if (end - first < SHORTEST_PAUSE_HOPS) isSoft.fill(0, first, end)
    first = end + 1
  }
  return isSoft
}

/** 1 where the level stays within 2 dB for half a second to both sides. */
function steadyHops(hops: Float64Array): Uint8Array {
  const within = dbToPower(STEADY_WITHIN_DB)
  const highest = extremesWithin(hops, 1)
  const lowest = extremesWithin(hops, -1)
  return Uint8Array.from(hops, (_, k) => ((highest[k] as number) <= (lowest[k] as number) * within ? 1 : 0))
}

/** The highest (sign 1) or lowest (sign -1) value within half a second. */
function extremesWithin(hops: Float64Array, sign: 1 | -1): Float64Array {
  const signed = hops.map((energy) => sign * energy)
  const extremes = slidingMaximum(
    signed,
    hops.length,
    (k) => k - STEADY_HOPS,
    (k) => k + STEADY_HOPS + 1,
  )
  return extremes.map((extreme) => sign * extreme)
}

/** The fine hops in which something far louder than the second before it begins. */
function hitsOf(energies10ms: Float64Array, hops: Float64Array): number[] {
  const programmeLkfs = gatedLoudness(hops)
  if (programmeLkfs === null) return []
  const sums = runningSums(energies10ms)
  const rise = dbToPower(HIT_RISE_DB)
  const loud = powerOf(programmeLkfs + HIT_OVER_PROGRAMME_LU)
  const hits: number[] = []
  for (let i = FINE_HOPS_PER_SECOND; i + FINE_HOPS_PER_HOP <= energies10ms.length; i++) {
    const here = energies10ms[i] as number
    const before = meanOf(sums, i - FINE_HOPS_PER_SECOND, i)
    if (here < before * rise || meanOf(sums, i, i + FINE_HOPS_PER_HOP) < Math.max(loud, before * rise)) continue
    hits.push(i)
    i += FINE_HOPS_PER_SECOND / 2
  }
  return hits
}

/** Mean of the values [first, end) as far as they exist; 0 of none. */
function meanOf(sums: Float64Array, first: number, end: number): number {
  const from = Math.max(0, first)
  const to = Math.min(end, sums.length - 1)
  return from < to ? ((sums[to] as number) - (sums[from] as number)) / (to - from) : 0
}

/** Sum of the first k values at place k. */
function runningSums(values: Float64Array): Float64Array {
  const sums = new Float64Array(values.length + 1)
  for (let k = 0; k < values.length; k++) sums[k + 1] = (sums[k] as number) + (values[k] as number)
  return sums
}
