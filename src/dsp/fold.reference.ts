/** One sample of a weighted sum of channels, in their order. @source ITU-R BS.775-4 Table 2 (form of the equations) */
export function foldedSample(samples: readonly number[], weights: readonly number[]): number {
  return samples.reduce((sum, sample, channel) => sum + (weights[channel] as number) * sample, 0)
}

/** One sample of a turn by 90 degrees in float32; `at` gives the signal, `taps` begin with the largest odd distance. */
export function turnedSample(at: (frame: number) => number, taps: Float32Array, frame: number): number {
  const { fround } = Math
  return taps.reduce((sum, tap, index) => {
    const distance = 2 * (taps.length - index) - 1
    return fround(sum + fround(tap * fround(fround(at(frame + distance)) - fround(at(frame - distance)))))
  }, 0)
}

/** By how many steps a sample differs from a sum rounded half up to the word and held within it. */
export function wordDifference(sum: number, written: number, fullScale: number): number {
  const rounded = Math.max(-fullScale, Math.min(fullScale - 1, Math.floor(sum * fullScale + 0.5)))
  return Math.abs(rounded - written * fullScale)
}

/** Sum of the squares of made - original x gain, frame by frame and in the order of the tracks, and the largest magnitude. */
export function leftOverReference(
  made: readonly Float64Array[],
  original: readonly Float64Array[],
  gain: Float64Array,
): { squares: number; largest: number } {
  const left = Array.from(gain).flatMap((scale, frame) =>
    made.map((track, side) => track[frame]! - original[side]![frame]! * scale),
  )
  return left.reduce(
    ({ squares, largest }, each) => ({ squares: squares + each * each, largest: Math.max(largest, Math.abs(each)) }),
    { squares: 0, largest: 0 },
  )
}
