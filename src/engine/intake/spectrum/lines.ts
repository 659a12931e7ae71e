import { powerToDb } from '../../../domain/index.ts'
import { SINE_POWER } from '../channel-spectra.ts'

/** A narrow line in a power spectrum. */
export type Line = {
  /** In bins, between the bins by a parabola through the logarithms. */
  readonly bin: number
  readonly levelDbfs: number
  readonly overNeighbourhoodDb: number
}

/** The neighbourhood of a line: bins from the first to the second distance on both sides. */
const NEAREST_NEIGHBOUR = 3
const FARTHEST_NEIGHBOUR = 12

/** The strongest line between two bins (at least one bin apart from both ends of `powers`). */
export function strongestLine(powers: Float32Array | Float64Array, fromBin: number, toBin: number): Line | null {
  const first = Math.max(1, Math.round(fromBin))
  const last = Math.min(powers.length - 2, Math.round(toBin))
  let peak = -1
  for (let k = first; k <= last; k++) {
    if (powers[k]! > 0 && powers[k]! >= powers[k - 1]! && powers[k]! >= powers[k + 1]!) {
      if (peak < 0 || powers[k]! > powers[peak]!) peak = k
    }
  }
  if (peak < 0) return null
  const neighbours: number[] = []
  for (let distance = NEAREST_NEIGHBOUR; distance <= FARTHEST_NEIGHBOUR; distance++) {
    if (peak - distance > 0) neighbours.push(powers[peak - distance]!)
    if (peak + distance < powers.length) neighbours.push(powers[peak + distance]!)
  }
  neighbours.sort((a, b) => a - b)
  const middle = neighbours[neighbours.length >> 1]!
  const [before, here, behind] = [powers[peak - 1]!, powers[peak]!, powers[peak + 1]!].map((p) => powerToDb(p + 1e-30))
  const curve = before! - 2 * here! + behind!
  const shift = curve < 0 ? (0.5 * (before! - behind!)) / curve : 0
  return {
    bin: peak + shift,
    levelDbfs: here! - powerToDb(SINE_POWER) - 0.25 * (before! - behind!) * shift,
    overNeighbourhoodDb: here! - powerToDb(middle + 1e-30),
  }
}
