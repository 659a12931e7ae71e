/**
 * Four-times interpolation, twelve taps a phase; phases 2 and 3 are phases 1 and 0 reversed. We use all four phases at
 * every rate: at 48 kHz they give the 192 kHz that are asked for, above they give more than that, and one filter for
 * all rates keeps the reading of a programme independent of the rate it is stored at.
 * @source ITU-R BS.1770-5 Annex 2, table of the order-48 interpolating FIR
 */
export const TRUE_PEAK_PHASES: readonly (readonly number[])[] = [
  [
    0.001708984375, 0.010986328125, -0.0196533203125, 0.033203125, -0.0594482421875, 0.1373291015625, 0.97216796875,
    -0.102294921875, 0.047607421875, -0.026611328125, 0.014892578125, -0.00830078125,
  ],
  [
    -0.0291748046875, 0.029296875, -0.0517578125, 0.089111328125, -0.16650390625, 0.465087890625, 0.77978515625,
    -0.2003173828125, 0.1015625, -0.0582275390625, 0.0330810546875, -0.0189208984375,
  ],
]

/**
 * The taps as the kernel wants them, each four times: of phase 0 and of phase 1 the six even parts
 * (h[k] + h[11-k]) / 2 and the six odd parts (h[k] - h[11-k]) / 2. All of them are exact in float32.
 */
export function foldedTaps(): Float32Array {
  const taps = TRUE_PEAK_PHASES.flatMap((phase) => {
    const mirrored = phase.toReversed()
    const half = phase.slice(0, phase.length / 2)
    const even = half.map((tap, k) => (tap + (mirrored[k] as number)) / 2)
    const odd = half.map((tap, k) => (tap - (mirrored[k] as number)) / 2)
    return [...even, ...odd]
  })
  return Float32Array.from(taps.flatMap((tap) => [tap, tap, tap, tap]))
}
