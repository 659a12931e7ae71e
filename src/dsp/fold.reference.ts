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
