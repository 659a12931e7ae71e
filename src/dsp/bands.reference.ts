/**
 * Slow readable twin of `treatBands`: a whole signal in float64, filtered forwards and backwards in one piece.
 * @param gains linear, one curve a band, lowest first and one more than crossovers
 * @source Linkwitz and Riley, J. Audio Eng. Soc. 24 (1976): the square of a second-order Butterworth filter
 */
export function treatBandsReference(
  x: Float64Array,
  crossoversHz: readonly number[],
  gains: readonly Float64Array[],
  sampleRateHz: number,
): Float64Array {
  const bands = splitBandsReference(x, crossoversHz, sampleRateHz)
  return x.map((sample, i) => bands.reduce((sum, band, b) => sum + (gains[b]![i]! - 1) * band[i]!, sample))
}

/** The bands of a signal, lowest first: they add up to it. */
export function splitBandsReference(
  x: Float64Array,
  crossoversHz: readonly number[],
  sampleRateHz: number,
): readonly Float64Array[] {
  const lows = [...crossoversHz.map((hz) => lowPassBothWays(x, hz, sampleRateHz)), x]
  return lows.map((low, b) => low.map((sample, i) => sample - (b === 0 ? 0 : lows[b - 1]![i]!)))
}

function lowPassBothWays(x: Float64Array, cornerHz: number, sampleRateHz: number): Float64Array {
  return lowPass(lowPass(x, cornerHz, sampleRateHz).reverse(), cornerHz, sampleRateHz).reverse()
}

/** Second-order Butterworth, bilinear transform, pre-warped at the corner; direct form I. */
function lowPass(x: Float64Array, cornerHz: number, sampleRateHz: number): Float64Array {
  const w = Math.tan((Math.PI * cornerHz) / sampleRateHz)
  const norm = 1 / (1 + Math.SQRT2 * w + w * w)
  const b = w * w * norm
  const [a1, a2] = [2 * (w * w - 1) * norm, (1 - Math.SQRT2 * w + w * w) * norm]
  const y = new Float64Array(x.length)
  for (let i = 0; i < x.length; i++) {
    y[i] = b * (x[i]! + 2 * (x[i - 1] ?? 0) + (x[i - 2] ?? 0)) - a1 * (y[i - 1] ?? 0) - a2 * (y[i - 2] ?? 0)
  }
  return y
}
