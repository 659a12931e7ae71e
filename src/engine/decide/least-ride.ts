import { roundToGainStep } from '../../domain/index.ts'
import { tautString } from './taut-string.ts'
import { leastWeightedRide, type MoveCosts } from './weighted-ride.ts'

/**
 * The ride of least weighted movement, drawn as gently as that allows: wherever a decibel costs the same for a while,
 * the taut string between the ends of that stretch. It costs no more and, of all that cost as much there, has the least
 * squared slope and the least largest one, so the slew holds too.
 * @param lower and @param upper multiples of `GAIN_STEP_DB`, as are the slews: then the ride is too
 */
export function leastRide(
  lower: Float64Array,
  upper: Float64Array,
  costs: Pick<MoveCosts, 'weight' | 'slewDb'>,
): Float64Array {
  const ride = leastWeightedRide(lower, upper, costs)
  const { weight, slewDb } = costs
  for (let first = 0; first < ride.length - 1; ) {
    let last = first + 1
    while (last < ride.length - 1 && weight[last] === weight[first] && slewDb[last] === slewDb[first]) last++
    if (last > first + 1 && isMoving(ride, first, last) && !levelOut(ride, first, last, lower, upper)) {
      const fixed = (wall: Float64Array) => {
        const between = wall.slice(first, last + 1)
        between[0] = ride[first] as number
        between[last - first] = ride[last] as number
        return between
      }
      ride.set(tautString(fixed(lower), fixed(upper)).map(roundToGainStep), first)
    }
    first = last
  }
  return ride
}

/** Draws the straight line between two points where the corridor lets it pass: the taut string is nothing else then. */
function levelOut(ride: Float64Array, first: number, last: number, lower: Float64Array, upper: Float64Array): boolean {
  const height = ride[first] as number
  const slope = ((ride[last] as number) - height) / (last - first)
  for (let k = first + 1; k < last; k++) {
    const here = height + slope * (k - first)
    if (here < (lower[k] as number) || here > (upper[k] as number)) return false
  }
  for (let k = first + 1; k < last; k++) ride[k] = roundToGainStep(height + slope * (k - first))
  return true
}

function isMoving(ride: Float64Array, first: number, last: number): boolean {
  for (let k = first; k < last; k++) if (ride[k] !== ride[k + 1]) return true
  return false
}
