import { HOPS_PER_SECOND } from '../../domain/index.ts'
import { slidingMaximum } from './sliding-maximum.ts'

/** Brings bounds down to the greatest ones whose steps are never larger than the slew; tells which neighbour set which. */
export function limitSlew(
  boundDb: Float64Array,
  slewDb: Float64Array,
  tell: (k: number, neighbour: number) => void = () => {},
): void {
  const limitFrom = (k: number, neighbour: number) => {
    const reachable = (boundDb[neighbour] as number) + (slewDb[Math.min(k, neighbour)] as number)
    if (reachable >= (boundDb[k] as number)) return
    boundDb[k] = reachable
    tell(k, neighbour)
  }
  for (let k = 1; k < boundDb.length; k++) limitFrom(k, k - 1)
  for (let k = boundDb.length - 2; k >= 0; k--) limitFrom(k, k + 1)
}

/** The lowest value within so many hops to both sides. */
export function lowestWithin(values: Float64Array, reach: number): Float64Array {
  return highestWithin(
    values.map((value) => -value),
    reach,
  ).map((value) => -value)
}

/** The highest value within so many hops to both sides. */
export function highestWithin(values: Float64Array, reach: number): Float64Array {
  return slidingMaximum(
    values,
    values.length,
    (k) => k - reach,
    (k) => k + reach + 1,
  )
}

/** No line is held longer than this, and the pauses on both sides of it are free for the move for so long. */
const LONGEST_HELD_HOPS = 12 * HOPS_PER_SECOND
const ROOM_BESIDE_LINE_HOPS = 1 * HOPS_PER_SECOND

/** Where the ride may already move inside a line of dialogue, it may do so before and after the line as well. */
export function holdThroughLines(lowerDb: Float64Array, speech100ms: Uint8Array): void {
  for (let first = 0; first < lowerDb.length; first++) {
    if (speech100ms[first] !== 1) continue
    let end = first
    while (speech100ms[end] === 1) end++
    if (end - first <= LONGEST_HELD_HOPS) {
      const lowest = lowerDb.subarray(first, end).reduce((low, bound) => Math.min(low, bound))
      const from = Math.max(0, first - ROOM_BESIDE_LINE_HOPS)
      const beside = lowerDb.subarray(from, end + ROOM_BESIDE_LINE_HOPS)
      beside.set(beside.map((bound) => Math.min(bound, lowest)))
    }
    first = end
  }
}
