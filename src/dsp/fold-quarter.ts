/** How far the filter reaches to each side: with the window below the level is right within 0.08 dB from 40 Hz on. */
const REACH_SECONDS = 0.017
/** Kaiser's shape parameter: more would round off the bass, less would ripple. */
const WINDOW_SHAPE = 4.2
/** Terms of the Bessel series; the last is below 1e-20 of the sum at this shape. */
const BESSEL_TERMS = 24

/** I0(2 sqrt(q)), the modified Bessel function of order 0. @source Abramowitz and Stegun 9.6.12 */
function besselI0(q: number): number {
  let sum = 1
  for (let n = BESSEL_TERMS; n >= 1; n--) sum = 1 + (sum * q) / (n * n)
  return sum
}

/**
 * Taps of a turn by 90 degrees at odd distances, from the largest distance down to 1: sample n + k enters with tap(k),
 * sample n - k with -tap(k), even distances not at all. The ideal 2 / (pi k) under a Kaiser window. The level
 * is within 0.08 dB from 40 Hz to 20 kHz, or to 40 Hz below half the rate; the phase is exact.
 * @source Oppenheim and Schafer, Discrete-Time Signal Processing, chapter on discrete Hilbert transforms (type III FIR)
 */
export function quarterTurnTaps(sampleRateHz: number): Float32Array {
  const count = Math.round((sampleRateHz * REACH_SECONDS) / 2)
  const taps = new Float32Array(count)
  const peak = besselI0((WINDOW_SHAPE * WINDOW_SHAPE) / 4)
  for (let index = 0; index < count; index++) {
    const distance = 2 * (count - index) - 1
    const position = distance / (2 * count)
    const quarterSquare = (WINDOW_SHAPE * WINDOW_SHAPE * (1 - position * position)) / 4
    taps[index] = (2 / (Math.PI * distance)) * (besselI0(quarterSquare) / peak)
  }
  return taps
}
