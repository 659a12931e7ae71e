/** A hair of white noise keeps the prediction of a pure tone stable. */
const WHITE_SHARE = 1e-9

/**
 * The filter of `order` + 1 taps, the first of them 1, that leaves of a block only what its past does not predict.
 * Null where the block is silent (its mean square below `leastPower`) or wholly predicted.
 * @source autocorrelation method and Levinson-Durbin recursion, J. Makhoul, Proceedings of the IEEE 63 (1975)
 */
export function predictionErrorFilter(samples: Float64Array, order: number, leastPower = 0): Float64Array | null {
  const r = new Float64Array(order + 1)
  for (let lag = 0; lag <= order; lag++) {
    let sum = 0
    for (let n = lag; n < samples.length; n++) sum += (samples[n] as number) * (samples[n - lag] as number)
    r[lag] = sum
  }
  return filterFrom(r, order, leastPower * samples.length)
}

/** The same from the block's sums of products, 0 to `order` samples apart; null below `leastEnergy`. */
export function filterFrom(products: Float64Array, order: number, leastEnergy: number): Float64Array | null {
  const energy = products[0] as number
  if (!(energy > 0) || energy < leastEnergy) return null
  let error = energy * (1 + WHITE_SHARE)
  const filter = new Float64Array(order + 1)
  const previous = new Float64Array(order + 1)
  filter[0] = 1
  for (let taps = 1; taps <= order; taps++) {
    let sum = 0
    for (let k = 0; k < taps; k++) sum += (filter[k] as number) * (products[taps - k] as number)
    const reflection = -sum / error
    previous.set(filter)
    for (let k = 1; k <= taps; k++) {
      filter[k] = (previous[k] as number) + reflection * (previous[taps - k] as number)
    }
    error *= 1 - reflection * reflection
    if (!(error > 0)) return null
  }
  return filter
}
