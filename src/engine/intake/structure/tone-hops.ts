/**
 * A sine of any frequency obeys x[n-d] + x[n+d] = 2 cos(w d) x[n] for every distance d; nothing else obeys it for two
 * distances that differ by ten. So a hop is a pure sine where what is left of this equation is small at both.
 */
const SHORT_DISTANCE_SECONDS = 0.00025
const LONG_DISTANCE_SECONDS = 0.0025
/** What may be left, as a share of the sine's power: noise and distortion at -26 dB leave as much. */
const LARGEST_REST = 0.005
/** Quieter hops (-70 dBFS) are not looked at: no line-up tone lies there. */
const FAINTEST_POWER = 1e-7

export type ToneDistances = { readonly short: number; readonly long: number }

export function toneDistances(sampleRateHz: number): ToneDistances {
  return {
    short: Math.round(SHORT_DISTANCE_SECONDS * sampleRateHz),
    long: Math.round(LONG_DISTANCE_SECONDS * sampleRateHz),
  }
}

/** One hop of one channel. */
export type HopSketch = {
  /** Mean square. */
  readonly power: number
  readonly peak: number
  /** cos(w d) at the short distance where the hop is a pure sine, else null. */
  readonly turn: number | null
}

export function sketchHop(plane: Float32Array, from: number, to: number, distances: ToneDistances): HopSketch {
  let sum = 0
  let peak = 0
  for (let n = from; n < to; n++) {
    const x = plane[n]!
    sum += x * x
    const size = Math.abs(x)
    if (size > peak) peak = size
  }
  const power = sum / (to - from)
  if (power < FAINTEST_POWER) return { power, peak, turn: null }
  const short = fitTurn(plane, from, to, distances.short)
  if (short.rest > LARGEST_REST || fitTurn(plane, from, to, distances.long).rest > LARGEST_REST) {
    return { power, peak, turn: null }
  }
  return { power, peak, turn: short.turn }
}

/** Least-squares fit of cos(w d) over [from, to), and the share of the power that it leaves. */
export function fitTurn(
  plane: Float32Array,
  from: number,
  to: number,
  distance: number,
): { readonly turn: number; readonly rest: number } {
  let xx = 0
  let xy = 0
  let yy = 0
  const end = Math.min(to, plane.length - distance)
  for (let n = Math.max(from, distance); n < end; n++) {
    const x = plane[n]!
    const y = plane[n - distance]! + plane[n + distance]!
    xx += x * x
    xy += x * y
    yy += y * y
  }
  if (!(xx > 0)) return { turn: 0, rest: 1 }
  return { turn: xy / (2 * xx), rest: (yy - (xy * xy) / xx) / xx }
}
