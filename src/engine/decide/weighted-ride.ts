import { assert } from '../../domain/index.ts'

/** What a move costs and how fast it may be: one value for each step from point k to point k + 1. */
export type MoveCosts = {
  /** Cost of one decibel, positive. */
  readonly weight: Float64Array
  /** Largest step in dB, positive. */
  readonly slewDb: Float64Array
  /** The fine hops in which hits begin, which no move shall announce. */
  readonly hits10ms: readonly number[]
}

/**
 * The ride of least weighted movement: among all curves g with lower <= g <= upper and |g[k + 1] - g[k]| <= slew[k] it
 * minimises the sum of weight[k] |g[k + 1] - g[k]|. Of all that are least it is the highest, at every point at once.
 *
 * The least cost of getting to a height at point k is a convex chain of straight pieces, whose slopes are the weights
 * alone: a step adds two pieces, the walls cut pieces off. So only the length of each slope is kept, and the time is
 * the number of points times the number of different weights. With walls and slews on a grid the ride lies on it.
 * @param lower and @param upper of equal length; some curve inside of them must keep the slew
 * @source dynamic programming; that the least curves have a highest one: Murota, "Discrete Convex Analysis", 2003, from memory
 */
export function leastWeightedRide(
  lower: Float64Array,
  upper: Float64Array,
  costs: Pick<MoveCosts, 'weight' | 'slewDb'>,
): Float64Array {
  const count = lower.length
  assert(upper.length === count, 'the walls of a corridor have equal length')
  const ride = new Float64Array(count)
  if (count === 0) return ride
  const chain = new CostChain(costs.weight)
  // Below the first height it pays to rise towards it, above the second it pays to fall.
  const riseTo = new Float64Array(count)
  const fallTo = new Float64Array(count)
  chain.start(lower[0] as number, upper[0] as number)
  for (let k = 1; k < count; k++) {
    const level = chain.levelOf(costs.weight[k - 1] as number)
    riseTo[k] = chain.endOfSlopes(-level)
    fallTo[k] = chain.endOfSlopes(level)
    chain.step(level, costs.slewDb[k - 1] as number)
    chain.cut(lower[k] as number, upper[k] as number)
  }
  ride[count - 1] = chain.endOfSlopes(0)
  for (let k = count - 1; k > 0; k--) {
    const here = ride[k] as number
    const slewDb = costs.slewDb[k - 1] as number
    const risen = Math.max(here, Math.min(here + slewDb, riseTo[k] as number))
    ride[k - 1] = Math.min(risen, Math.max(here - slewDb, fallTo[k] as number))
  }
  return ride
}

/** Sum of weight x |step|. */
export function weightedMovement(ride: Float64Array, { weight }: Pick<MoveCosts, 'weight'>): number {
  let sum = 0
  for (let k = 1; k < ride.length; k++) {
    sum += Math.abs((ride[k] as number) - (ride[k - 1] as number)) * (weight[k - 1] as number)
  }
  return sum
}

/** Walls that are no multiples of a gain's step may miss each other by their last bits. */
const ROUNDING_DB = 1e-9

/** A search draws thousands of rides at the same prices. */
const knownLevels = new WeakMap<Float64Array, ReadonlyMap<number, number>>()

/** The place of each weight among all, from 1 for the least. */
function levelsOf(weights: Float64Array): ReadonlyMap<number, number> {
  const known = knownLevels.get(weights)
  if (known !== undefined) return known
  const distinct = [...new Set(weights)].sort((a, b) => a - b)
  assert(
    distinct.every((weight) => weight > 0),
    'a move costs something',
  )
  const levels = new Map(distinct.map((weight, index) => [weight, index + 1]))
  knownLevels.set(weights, levels)
  return levels
}

/** A convex chain of straight pieces over [low, high]: how long each slope lasts, from the steepest fall to the steepest rise. */
class CostChain {
  readonly #levels: ReadonlyMap<number, number>
  /** Lengths of the slopes -w[n] ... -w[1], 0, w[1] ... w[n]. */
  readonly #lengths: Float64Array
  readonly #level0: number
  #low = 0
  #high = 0

  constructor(weights: Float64Array) {
    this.#levels = levelsOf(weights)
    this.#level0 = this.#levels.size
    this.#lengths = new Float64Array(2 * this.#levels.size + 1)
  }

  /** The place of a weight among all weights, from 1 for the least. */
  levelOf(weight: number): number {
    return this.#levels.get(weight) as number
  }

  /** Every height costs nothing. */
  start(low: number, high: number): void {
    this.#low = low
    this.#high = high
    this.#lengths[this.#level0] = high - low
  }

  /** Where the slopes up to and including this level (negative: a falling one) end. */
  endOfSlopes(level: number): number {
    const last = this.#level0 + level
    if (last === this.#lengths.length - 1) return this.#high
    let end = this.#low
    for (let i = 0; i <= last; i++) end += this.#lengths[i] as number
    return end
  }

  /** One step further: every height can now be got to from up to `slewDb` away, at the weight of this level. */
  step(level: number, slewDb: number): void {
    const [fall, rise] = [this.#level0 - level, this.#level0 + level]
    this.#lengths[fall] = (this.#lengths[fall] as number) + slewDb
    this.#lengths[rise] = (this.#lengths[rise] as number) + slewDb
    this.#low -= slewDb
    this.#high += slewDb
  }

  /** Leaves the heights between two walls only. */
  cut(low: number, high: number): void {
    const isOpen = low <= this.#high + ROUNDING_DB && high >= this.#low - ROUNDING_DB && low <= high
    assert(isOpen, 'the corridor can be passed within the slew')
    for (let i = 0; this.#low < low; i++) this.#low = this.#shorten(i, low - this.#low, low, this.#low, 1)
    for (let i = this.#lengths.length - 1; this.#high > high; i--) {
      this.#high = this.#shorten(i, this.#high - high, high, this.#high, -1)
    }
  }

  /** Takes `excess` off one slope, or all of it; the wall itself, or where the rest of the chain ends. */
  #shorten(i: number, excess: number, wall: number, end: number, sign: 1 | -1): number {
    const length = this.#lengths[i] as number
    this.#lengths[i] = Math.max(0, length - excess)
    // Lengths are sums of differences: where rounding leaves no piece to cut, the chain ends at the wall.
    const isLast = i === (sign === 1 ? this.#lengths.length - 1 : 0)
    return length >= excess || isLast ? wall : end + sign * length
  }
}
