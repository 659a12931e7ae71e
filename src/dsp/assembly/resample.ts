// Sample rates to 16 kHz by a polyphase low-pass of linear phase, its delay taken off. The door is `dsp/resample.ts`.

/** Modified Bessel function of the first kind and order 0, by its series. */
function bessel0(x: f64): f64 {
  let term: f64 = 1
  let sum: f64 = 1
  for (let k = 1; term > sum * 1e-17; k++) {
    const factor = x / (2.0 * k)
    term *= factor * factor
    sum += term
  }
  return sum
}

/**
 * Writes `phases` rows of `taps` weights: row p is the low-pass seen from p / phases of a frame behind a frame of the
 * source, whose own tap is number taps / 2 - 1. Each row sums to 1. `cutOff` in cycles per frame of the source.
 * @source J. F. Kaiser, "Nonrecursive digital filter design using the I0-sinh window function" (1974)
 */
export function designResampler(table: usize, phases: i32, taps: i32, cutOff: f64, beta: f64): void {
  const half = taps >> 1
  const scale = 1.0 / bessel0(beta)
  for (let phase = 0; phase < phases; phase++) {
    const row = table + ((<usize>(phase * taps)) << 2)
    let sum: f64 = 0
    // Twice the same weight is computed: once for the sum, once to write it down in single precision.
    for (let pass = 0; pass < 2; pass++) {
      const norm = pass === 0 ? 1.0 : 1.0 / sum
      for (let tap = 0; tap < taps; tap++) {
        const t = <f64>(tap - half + 1) - <f64>phase / <f64>phases
        const u = t / <f64>half
        const window = abs(u) < 1 ? bessel0(beta * Math.sqrt(1.0 - u * u)) * scale : 0
        const angle = 2.0 * Math.PI * cutOff * t
        const weight = window * (t === 0 ? 1.0 : Math.sin(angle) / angle)
        if (pass === 0) sum += weight
        else store<f32>(row + ((<usize>tap) << 2), <f32>(weight * norm))
      }
    }
  }
}

/**
 * Writes `count` samples of the new rate; sample m stands at m * step / phases frames behind `from`, the address of the
 * first frame. The taps reach taps / 2 - 1 frames before and taps / 2 frames after it. `taps` is a multiple of 8.
 */
export function resample(from: usize, table: usize, phases: i32, step: i32, taps: i32, to: usize, count: i32): void {
  const reach = (<usize>((taps >> 1) - 1)) << 2
  const rowBytes = (<usize>taps) << 2
  const wholeStep = step / phases
  const partStep = step % phases
  let first = from - reach
  let phase = 0
  for (let m = 0; m < count; m++) {
    let even = f32x4.splat(0)
    let odd = f32x4.splat(0)
    const row = table + <usize>phase * rowBytes
    for (let at: usize = 0; at < rowBytes; at += 32) {
      even = f32x4.add(even, f32x4.mul(v128.load(first + at), v128.load(row + at)))
      odd = f32x4.add(odd, f32x4.mul(v128.load(first + at, 16), v128.load(row + at, 16)))
    }
    const sum = f32x4.add(even, odd)
    const pair = f32x4.add(sum, v128.shuffle<f32>(sum, sum, 2, 3, 0, 1))
    store<f32>(to + ((<usize>m) << 2), f32x4.extract_lane(pair, 0) + f32x4.extract_lane(pair, 1))
    first += (<usize>wholeStep) << 2
    phase += partStep
    if (phase >= phases) {
      phase -= phases
      first += 4
    }
  }
}
