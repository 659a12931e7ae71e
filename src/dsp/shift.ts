import { assert } from '../domain/index.ts'

/** Frames to each side that a shift by part of a frame looks at. */
export const SHIFT_REACH = 128

/**
 * Writes a track as it would be `frames` earlier (negative: later), by any part of a frame: `out[n]` is `track` at
 * `firstFrame + n + frames`, and beyond its ends silence. Whole frames are copied to the bit.
 * Within -100 dB of the ideal shift up to 0.9 of half the sample rate (tests).
 * @source windowed sinc; the window (1 - (x / 129)^2)^6 is ours
 */
export function writeShifted(track: Float64Array, firstFrame: number, frames: number, out: Float64Array): void {
  const whole = Math.round(frames)
  const fraction = frames - whole
  const from = firstFrame + whole
  if (fraction === 0) {
    for (let n = 0; n < out.length; n++) out[n] = track[from + n] ?? 0
    return
  }
  const taps = shiftTaps(fraction)
  for (let n = 0; n < out.length; n++) {
    let sum = 0
    for (let tap = 0; tap < taps.length; tap++) {
      sum += (taps[tap] as number) * (track[from + n + tap - SHIFT_REACH] ?? 0)
    }
    out[n] = sum
  }
}

/** Taps -128 .. 128 of a shift by less than half a frame. They add up to 1, so that a direct current passes. */
function shiftTaps(fraction: number): Float64Array {
  assert(Math.abs(fraction) <= 0.5, 'the rest of a shift is at most half a frame')
  const sine = sineOf(Math.PI * fraction)
  const taps = Float64Array.from({ length: 2 * SHIFT_REACH + 1 }, (_, index) => {
    const x = fraction - (index - SHIFT_REACH)
    const part = 1 - (x / (SHIFT_REACH + 1)) * (x / (SHIFT_REACH + 1))
    // sin(pi (fraction - m)) is sin(pi fraction) with the sign of m's parity.
    const sign = (index - SHIFT_REACH) % 2 === 0 ? 1 : -1
    return ((sign * sine) / (Math.PI * x)) * part * part * part * part * part * part
  })
  const sum = taps.reduce((total, tap) => total + tap, 0)
  return taps.map((tap) => tap / sum)
}

const TERMS = 14

/** Up to half a turn, by its series. */
function sineOf(x: number): number {
  let sum = 1
  for (let n = TERMS; n >= 1; n--) sum = 1 - (sum * x * x) / (2 * n * (2 * n + 1))
  return sum * x
}
