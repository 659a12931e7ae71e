// The readable twin of the Leq(m) kernel.
import { M_WEIGHTING } from './leq-m-weighting.ts'

/** Sum of squares of a whole plane behind the M-weighting. */
export function mWeightedEnergyReference(plane: Float64Array, sampleRateHz: number): number {
  const { gain, sections } = M_WEIGHTING[sampleRateHz] as (typeof M_WEIGHTING)[number]
  const weighted = sections.reduce((signal, [b1, b2, a1, a2]) => {
    let [first, second] = [0, 0]
    return signal.map((x) => {
      const y = x + first
      first = b1 * x - a1 * y + second
      second = b2 * x - a2 * y
      return y
    })
  }, plane)
  return gain * gain * weighted.reduce((sum, y) => sum + y * y, 0)
}
