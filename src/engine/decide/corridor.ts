import { FINE_HOPS_PER_HOP, floorToGainStep, HOPS_PER_SECOND, loudnessOf, windowMeans } from '../../domain/index.ts'
import type { HomeShape } from './home-shape.ts'
import type { WindowLine } from './judged-lines.ts'
import { holdThroughLines, limitSlew, lowestWithin } from './reach.ts'
import { slidingMaximum } from './sliding-maximum.ts'
import type { MoveCosts } from './weighted-ride.ts'

/** A stretch that the mixer wants left alone: the ride keeps within `toleranceDb` of the static gain there. */
export type Lock = { readonly startSeconds: number; readonly endSeconds: number; readonly toleranceDb: number }

/** A stretch where the mixer says how far the ride goes: no lower and no higher than so much beside the static gain. */
export type RideLimit = {
  readonly startSeconds: number
  readonly endSeconds: number
  readonly lowestDb: number
  readonly highestDb: number
}

export type CorridorRules = {
  readonly reachSeconds: number
  /** What each step of the ride costs and how fast it may be. */
  readonly costs: MoveCosts
  /** 1 on the hops of the lines of dialogue, that the ride holds through; null where nobody listened. */
  readonly speech100ms: Uint8Array | null
  /** How far below each line the windows are held under a ride, and under a constant gain. */
  readonly guardLu: number
  readonly freeGuardLu: number
  readonly limits: readonly RideLimit[]
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
  /** How low beside home each hop may go because of locks and limits; -Infinity where none reaches. Null: there are none. */
  readonly lockFloorDb: Float64Array | null
  /** How high beside home each hop may go because of them; Infinity where none lies. */
  readonly lockRoofDb: Float64Array | null
  /** What is asked of single passages relative to home; null: nothing, and the ride never rises above home. */
  readonly shape: HomeShape | null
  /** Highest static gain under which every line holds with no ride at all; -Infinity where the shape asks for one. */
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
  const { costs, speech100ms, limits } = rules
  limitSlew(upperDb, costs.slewDb, (k, neighbour) => {
    bindingLine[k] = bindingLine[neighbour] as number
  })
  const lowerDb = lowestWithin(upperDb, Math.round(rules.reachSeconds * HOPS_PER_SECOND))
  if (speech100ms !== null) holdThroughLines(lowerDb, speech100ms)
  const lockFloorDb = limits.length === 0 ? null : lockFloor(limits, hopCount, costs.slewDb)
  const lockRoofDb = limits.length === 0 ? null : lockRoof(limits, hopCount)
  return { lines, costs, upperDb, lowerDb, bindingLine, lockFloorDb, lockRoofDb, shape: null, freeGainDb }
}

/** The walls under one home gain: never above home but for a lift, at home wherever nothing asks for a move within reach. */
export function wallsAt(corridor: Corridor, homeDb: number): { lower: Float64Array; upper: Float64Array } {
  const { upperDb, lowerDb, lockFloorDb, shape } = corridor
  const upper = new Float64Array(upperDb.length)
  const lower = new Float64Array(upperDb.length)
  for (let k = 0; k < upper.length; k++) {
    const highest = Math.min(upperDb[k] as number, homeDb + (shape === null ? 0 : (shape.roofDb[k] as number)))
    let lowest = Math.min(lowerDb[k] as number, homeDb + (shape === null ? 0 : (shape.lowRoofDb[k] as number)))
    if (shape !== null) lowest = Math.max(lowest, Math.min(homeDb + (shape.floorDb[k] as number), highest))
    if (lockFloorDb !== null) lowest = Math.max(lowest, homeDb + (lockFloorDb[k] as number))
    upper[k] = highest
    lower[k] = lowest
  }
  return { lower, upper }
}

/** The corridor with what is asked of single passages. */
export function shaped(corridor: Corridor, shape: HomeShape): Corridor {
  return { ...corridor, shape, freeGainDb: Number.NEGATIVE_INFINITY }
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

/** How low beside home each hop may go. The ride approaches and leaves a stretch no faster than the slew, so the floor slopes away from it on both sides. */
export function lockFloor(limits: readonly RideLimit[], hopCount: number, slewDb: Float64Array): Float64Array {
  const depthDb = new Float64Array(hopCount).fill(Number.POSITIVE_INFINITY)
  for (const limit of limits) {
    const depth = floorToGainStep(-limit.lowestDb)
    forHops(limit, hopCount, (k) => {
      depthDb[k] = Math.min(depthDb[k] as number, depth)
    })
  }
  limitSlew(depthDb, slewDb)
  return depthDb.map((depth) => -depth)
}

function lockRoof(limits: readonly RideLimit[], hopCount: number): Float64Array {
  const roofDb = new Float64Array(hopCount).fill(Number.POSITIVE_INFINITY)
  for (const limit of limits) {
    const highest = floorToGainStep(limit.highestDb)
    forHops(limit, hopCount, (k) => {
      roofDb[k] = Math.min(roofDb[k] as number, highest)
    })
  }
  return roofDb
}

/** The ride points whose gain is heard in a stretch. */
function forHops({ startSeconds, endSeconds }: RideLimit, hopCount: number, act: (k: number) => void): void {
  const first = Math.max(0, Math.floor(startSeconds * HOPS_PER_SECOND - 0.5))
  const last = Math.min(hopCount - 1, Math.ceil(endSeconds * HOPS_PER_SECOND - 0.5))
  for (let k = first; k <= last; k++) act(k)
}
