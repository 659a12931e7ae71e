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
    if (isMoving(ride, first, last)) {
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

function isMoving(ride: Float64Array, first: number, last: number): boolean {
  for (let k = first; k < last; k++) if (ride[k] !== ride[k + 1]) return true
  return false
}
