import { FINE_HOPS_PER_HOP, floorToGainStep, HOPS_PER_SECOND, loudnessOf, windowMeans } from '../../domain/index.ts'
import type { WindowLine } from './judged-lines.ts'
import { slidingMaximum } from './sliding-maximum.ts'
import type { MoveCosts } from './weighted-ride.ts'

/** A stretch that the mixer wants left alone: the ride keeps within `toleranceDb` of the static gain there. */
export type Lock = { readonly startSeconds: number; readonly endSeconds: number; readonly toleranceDb: number }

export type CorridorRules = {
  readonly reachSeconds: number
  /** What each step of the ride costs and how fast it may be. */
  readonly costs: MoveCosts
  /** 1 on the hops of the lines of dialogue, that the ride holds through; null where nobody listened. */
  readonly speech100ms: Uint8Array | null
  /** How far below each line the windows are held under a ride, and under a constant gain. */
  readonly guardLu: number
  readonly freeGuardLu: number
  readonly locks: readonly Lock[]
}

/**
 * The bounds of the ride, one value a hop, all of them multiples of `GAIN_STEP_DB`, so that a curve between them can be
 * rounded to that step without leaving them. Home, the static gain, is not in them: see `wallsAt`.
 */
export type Corridor = {
  readonly lines: readonly WindowLine[]
  readonly costs: MoveCosts
  /** Highest gain that the lines allow, never steeper than the slew; `MAX_STATIC_GAIN_DB` where nothing binds. */
  readonly upperDb: Float64Array
  /** Lowest value of `upperDb` within reach, held through lines of dialogue: beyond that the ride must be at home. */
  readonly lowerDb: Float64Array
  /** Which of `lines` sets `upperDb`, through the slew if need be; -1: none. */
  readonly bindingLine: Int8Array
  /** How far below home each hop may go because of the locks; -Infinity where no lock reaches. Null: no locks. */
  readonly lockFloorDb: Float64Array | null
  /** Highest static gain under which every line holds with no ride at all. */
  readonly freeGainDb: number
}

/** More gain than this is refused: such a programme is noise or nearly silent. */
export const MAX_STATIC_GAIN_DB = 40

/**
 * The corridor in which every window line holds.
 *
 * A window whose gain is nowhere above limit - level is below the limit, so each hop is bounded by the loudest window
 * that its gain touches: windows begin at every 10 ms, and between hop centres the gain is interpolated.
 * @param hopCount hops begun, one ride point each
 */
export function buildCorridor(lines: readonly WindowLine[], hopCount: number, rules: CorridorRules): Corridor {
  const upperDb = new Float64Array(hopCount).fill(MAX_STATIC_GAIN_DB)
  const bindingLine = new Int8Array(hopCount).fill(-1)
  let freeGainDb = MAX_STATIC_GAIN_DB
  for (const [index, line] of lines.entries()) {
    const energies = windowMeans(line.energies, line.windowFineHops)
    const loudest = loudestTouching(energies, line.windowFineHops, hopCount)
    let last = Number.NaN
    let bound = MAX_STATIC_GAIN_DB
    for (let k = 0; k < hopCount; k++) {
      const energy = loudest[k] as number
      if (energy <= 0) continue
      if (energy !== last) bound = line.limitLkfs - loudnessOf(energy)
      last = energy
      freeGainDb = Math.min(freeGainDb, floorToGainStep(bound - rules.freeGuardLu))
      const guarded = floorToGainStep(bound - rules.guardLu)
      if (guarded < (upperDb[k] as number)) {
        upperDb[k] = guarded
        bindingLine[k] = index
      }
    }
  }
  const { costs, speech100ms, locks } = rules
  limitSlew(upperDb, costs.slewDb, bindingLine)
  const lowerDb = lowestWithin(upperDb, Math.round(rules.reachSeconds * HOPS_PER_SECOND))
  if (speech100ms !== null) holdThroughLines(lowerDb, speech100ms)
  const lockFloorDb = locks.length === 0 ? null : lockFloor(locks, hopCount, costs.slewDb)
  return { lines, costs, upperDb, lowerDb, bindingLine, lockFloorDb, freeGainDb }
}

/** The walls under one home gain: never above home, at home wherever no loud passage is within reach. */
export function wallsAt(corridor: Corridor, homeDb: number): { lower: Float64Array; upper: Float64Array } {
  const { upperDb, lowerDb, lockFloorDb } = corridor
  const upper = upperDb.map((bound) => Math.min(bound, homeDb))
  const lower = lowerDb.map((bound) => Math.min(bound, homeDb))
  if (lockFloorDb !== null) {
    for (const [k, depth] of lockFloorDb.entries()) lower[k] = Math.max(lower[k] as number, homeDb + depth)
  }
  return { lower, upper }
}

/**
 * The highest home gain that leaves the corridor open everywhere, and the hop that stops it: there a lock forbids the
 * move that a line asks for. Null where no lock and line meet.
 */
export function lockedHome(corridor: Corridor): { homeDb: number; hop: number } | null {
  const { upperDb, lockFloorDb } = corridor
  let lowest: { homeDb: number; hop: number } | null = null
  for (const [hop, depth] of lockFloorDb?.entries() ?? []) {
    const homeDb = (upperDb[hop] as number) - depth
    if (homeDb < (lowest?.homeDb ?? MAX_STATIC_GAIN_DB)) lowest = { homeDb, hop }
  }
  return lowest
}

/**
 * Energy of the loudest window that the gain of each hop touches. The point of hop k stands in the middle of the hop
 * and acts up to the neighbouring points: over the fine hops from 10 k - 5 up to, not including, 10 k + 15.
 */
function loudestTouching(energies: Float64Array, windowFineHops: number, hopCount: number): Float64Array {
  const half = FINE_HOPS_PER_HOP / 2
  return slidingMaximum(
    energies,
    hopCount,
    (k) => k * FINE_HOPS_PER_HOP - half - windowFineHops + 1,
    (k) => (k + 1) * FINE_HOPS_PER_HOP + half,
  )
}

/** The greatest bounds below the given ones whose steps are never larger than the slew; what binds travels along. */
function limitSlew(boundDb: Float64Array, slewDb: Float64Array, bindingLine: Int8Array): void {
  const limitFrom = (k: number, neighbour: number) => {
    const reachable = (boundDb[neighbour] as number) + (slewDb[Math.min(k, neighbour)] as number)
    if (reachable >= (boundDb[k] as number)) return
    boundDb[k] = reachable
    bindingLine[k] = bindingLine[neighbour] as number
  }
  for (let k = 1; k < boundDb.length; k++) limitFrom(k, k - 1)
  for (let k = boundDb.length - 2; k >= 0; k--) limitFrom(k, k + 1)
}

function lowestWithin(values: Float64Array, reach: number): Float64Array {
  const negated = values.map((value) => -value)
  const highest = slidingMaximum(
    negated,
    values.length,
    (k) => k - reach,
    (k) => k + reach + 1,
  )
  return highest.map((value) => -value)
}

/** No line is held longer than this, and the pauses on both sides of it are free for the move for so long. */
const LONGEST_HELD_HOPS = 12 * HOPS_PER_SECOND
const ROOM_BESIDE_LINE_HOPS = 1 * HOPS_PER_SECOND

/** Where the ride may already move inside a line of dialogue, it may do so before and after the line as well. */
function holdThroughLines(lowerDb: Float64Array, speech100ms: Uint8Array): void {
  for (let first = 0; first < lowerDb.length; first++) {
    if (speech100ms[first] !== 1) continue
    let end = first
    while (speech100ms[end] === 1) end++
    if (end - first <= LONGEST_HELD_HOPS) {
      const line = lowerDb.subarray(first, end)
      const lowest = line.reduce((low, bound) => Math.min(low, bound), MAX_STATIC_GAIN_DB)
      const from = Math.max(0, first - ROOM_BESIDE_LINE_HOPS)
      const beside = lowerDb.subarray(from, end + ROOM_BESIDE_LINE_HOPS)
      beside.set(beside.map((bound) => Math.min(bound, lowest)))
    }
    first = end
  }
}

/** The ride approaches and leaves a lock no faster than the slew, so the floor slopes away from it on both sides. */
function lockFloor(locks: readonly Lock[], hopCount: number, slewDb: Float64Array): Float64Array {
  const floorDb = new Float64Array(hopCount).fill(Number.NEGATIVE_INFINITY)
  for (const { startSeconds, endSeconds, toleranceDb } of locks) {
    const first = Math.max(0, Math.floor(startSeconds * HOPS_PER_SECOND - 0.5))
    const last = Math.min(hopCount - 1, Math.ceil(endSeconds * HOPS_PER_SECOND - 0.5))
    for (let k = first; k <= last; k++) floorDb[k] = Math.max(floorDb[k] as number, -floorToGainStep(toleranceDb))
  }
  for (let k = 1; k < hopCount; k++) {
    floorDb[k] = Math.max(floorDb[k] as number, (floorDb[k - 1] as number) - (slewDb[k - 1] as number))
  }
  for (let k = hopCount - 2; k >= 0; k--) {
    floorDb[k] = Math.max(floorDb[k] as number, (floorDb[k + 1] as number) - (slewDb[k] as number))
  }
  return floorDb
}
