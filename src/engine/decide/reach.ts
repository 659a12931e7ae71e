import { HOPS_PER_SECOND } from '../../domain/index.ts'

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
  return extremeWithin(values, reach, -1)
}

/** The highest value within so many hops to both sides. */
export function highestWithin(values: Float64Array, reach: number): Float64Array {
  return extremeWithin(values, reach, 1)
}

/** As `slidingMaximum`, without a call for each border: a search over levels asks for thousands of these. */
function extremeWithin(values: Float64Array, reach: number, sign: 1 | -1): Float64Array {
  const count = values.length
  const extremes = new Float64Array(count)
  const queue = new Int32Array(count)
  let head = 0
  let tail = 0
  let next = 0
  for (let k = 0; k < count; k++) {
    for (const end = Math.min(k + reach + 1, count); next < end; next++) {
      const value = sign * (values[next] as number)
      while (tail > head && sign * (values[queue[tail - 1] as number] as number) <= value) tail--
      queue[tail++] = next
    }
    while ((queue[head] as number) < k - reach) head++
    extremes[k] = values[queue[head] as number] as number
  }
  return extremes
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
      let lowest = Number.POSITIVE_INFINITY
      for (let k = first; k < Math.min(end, lowerDb.length); k++) lowest = Math.min(lowest, lowerDb[k] as number)
      const until = Math.min(end + ROOM_BESIDE_LINE_HOPS, lowerDb.length)
      for (let k = Math.max(0, first - ROOM_BESIDE_LINE_HOPS); k < until; k++) {
        lowerDb[k] = Math.min(lowerDb[k] as number, lowest)
      }
    }
    first = end
  }
}
