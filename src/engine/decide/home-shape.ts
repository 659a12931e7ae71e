import { floorToGainStep, HOPS_PER_SECOND } from '../../domain/index.ts'
import type { Corridor } from './corridor.ts'
import { highestWithin, holdThroughLines, limitSlew, lowestWithin } from './reach.ts'

/**
 * What is asked of single passages relative to home, one value a hop, in steps of a plan's gains: loud ones come down,
 * soft ones are lifted.
 */
export type HomeShape = {
  /** Highest gain relative to home, never steeper than the slew: below 0 in loud passages, above it near lifted ones. */
  readonly roofDb: Float64Array
  /** Lowest value of the roof within reach, 0 at most: beyond that the ride must be at home. */
  readonly lowRoofDb: Float64Array
  /** Lift asked for, never above the roof; -Infinity where none is. */
  readonly floorDb: Float64Array
}

/** What each hop should get relative to home: 0 or less to press it, more than 0 to lift it. */
export type Wishes = {
  readonly pressDb: Float64Array
  readonly liftDb: Float64Array
  /** How far each hop may be lifted along with its neighbours. */
  readonly roomDb: Float64Array
}

/** Wishes that change nothing. */
export function noWishes(hopCount: number): Wishes {
  return {
    pressDb: new Float64Array(hopCount),
    liftDb: new Float64Array(hopCount),
    roomDb: new Float64Array(hopCount),
  }
}

/** Makes walls of what is wished: with reach, held through lines of dialogue, within the slew and around the locks. */
export function shapeOf(
  { pressDb, liftDb, roomDb }: Wishes,
  { costs, lockFloorDb, lockRoofDb }: Pick<Corridor, 'costs' | 'lockFloorDb' | 'lockRoofDb'>,
  reachSeconds: number,
  speech100ms: Uint8Array | null,
): HomeShape {
  const reach = Math.round(reachSeconds * HOPS_PER_SECOND)
  const nearLift = highestWithin(liftDb, reach)
  for (let k = 0; k < nearLift.length; k++) nearLift[k] = -(nearLift[k] as number)
  if (speech100ms !== null) holdThroughLines(nearLift, speech100ms)
  const roofDb = new Float64Array(pressDb.length)
  for (let k = 0; k < roofDb.length; k++) {
    const press = pressDb[k] as number
    const lifted = Math.min(-(nearLift[k] as number), Math.max(roomDb[k] as number, liftDb[k] as number))
    roofDb[k] = Math.min(floorToGainStep(press < 0 ? press : lifted), lockRoofDb?.[k] ?? Number.POSITIVE_INFINITY)
  }
  limitSlew(roofDb, costs.slewDb)
  for (const [k, lowest] of lockFloorDb?.entries() ?? []) roofDb[k] = Math.max(roofDb[k] as number, lowest)
  const lowRoofDb = lowestWithin(roofDb, reach)
  const floorDb = new Float64Array(roofDb.length)
  for (let k = 0; k < roofDb.length; k++) {
    lowRoofDb[k] = Math.min(0, lowRoofDb[k] as number)
    const lift = liftDb[k] as number
    floorDb[k] = lift > 0 ? Math.min(floorToGainStep(lift), roofDb[k] as number) : Number.NEGATIVE_INFINITY
  }
  if (speech100ms !== null) holdThroughLines(lowRoofDb, speech100ms)
  return { roofDb, lowRoofDb, floorDb }
}
