// Fold-downs: weighted sums of channels, and the surrounds turned by 90 degrees. The door is `dsp/fold.ts`.
// Sums are float64, so that a fold-down of integer words is rounded once, at the very end.

/** sum[i] (float64) += weight x plane[i]; with `isFirst` sum[i] = weight x plane[i]. An odd count writes one more. */
export function foldAdd(sum: usize, plane: usize, isWide: i32, weight: f64, frameCount: i32, isFirst: i32): void {
  const weights = f64x2.splat(weight)
  const step: usize = isWide ? 16 : 8
  for (let i = 0; i < frameCount; i += 2, sum += 16, plane += step) {
    const samples = isWide ? v128.load(plane) : f64x2.promote_low_f32x4(v128.load64_zero(plane))
    const term = f64x2.mul(weights, samples)
    v128.store(sum, isFirst ? term : f64x2.add(v128.load(sum), term))
  }
}

/** Rounds float64 to float32. */
export function foldNarrow(sum: usize, frameCount: i32, plane: usize): void {
  for (let i = 0; i < frameCount; i++, sum += 8, plane += 4) store<f32>(plane, <f32>load<f64>(sum))
}

/**
 * turned[n] = the sum over odd k of tap(k) x (samples[n + k] - samples[n - k]), float32. `taps` begin with the largest
 * k, 2 x tapCount - 1: small terms are added first, so that little is rounded away. Sixteen frames at a time.
 */
export function foldTurn(samples: usize, taps: usize, tapCount: i32, frameCount: i32, turned: usize): void {
  const reach = (<usize>(2 * tapCount - 1)) << 2
  const end = taps + ((<usize>tapCount) << 2)
  for (let n = 0; n < frameCount; n += 16, samples += 64, turned += 64) {
    let early = samples - reach
    let late = samples + reach
    let a = f32x4.splat(0)
    let b = f32x4.splat(0)
    let c = f32x4.splat(0)
    let d = f32x4.splat(0)
    for (let t = taps; t < end; t += 4, early += 8, late -= 8) {
      const tap = v128.load32_splat(t)
      a = f32x4.add(a, f32x4.mul(tap, f32x4.sub(v128.load(late), v128.load(early))))
      b = f32x4.add(b, f32x4.mul(tap, f32x4.sub(v128.load(late, 16), v128.load(early, 16))))
      c = f32x4.add(c, f32x4.mul(tap, f32x4.sub(v128.load(late, 32), v128.load(early, 32))))
      d = f32x4.add(d, f32x4.mul(tap, f32x4.sub(v128.load(late, 48), v128.load(early, 48))))
    }
    v128.store(turned, a)
    v128.store(turned, b, 16)
    v128.store(turned, c, 32)
    v128.store(turned, d, 48)
  }
}

/** The highest |sum|. */
export function foldHighest(sum: usize, frameCount: i32): f64 {
  let highest: f64 = 0
  for (let i = 0; i < frameCount; i++, sum += 8) highest = max(highest, abs(load<f64>(sum)))
  return highest
}

/** Writes sum x gain as one channel of interleaved float32 PCM; `first` is the address of its first sample. */
export function foldFloats(sum: usize, frameCount: i32, gain: f64, frameBytes: i32, first: usize): void {
  for (let i = 0; i < frameCount; i++, sum += 8, first += frameBytes) store<f32>(first, <f32>(load<f64>(sum) * gain))
}

/**
 * Counts the samples of `written` (float64) that are not `sum` rounded half up to a step of 1 / fullScale and held within
 * the word, and raises `largest` (one float64, in steps) to the largest difference.
 */
export function foldDiffering(sum: usize, written: usize, frameCount: i32, fullScale: f64, largest: usize): i32 {
  const scale = f64x2.splat(fullScale)
  const half = f64x2.splat(0.5)
  let differing = 0
  for (let i = 0; i < frameCount; i += 2, sum += 16, written += 16) {
    if (i + 2 <= frameCount) {
      const rounded = f64x2.floor(f64x2.add(f64x2.mul(v128.load(sum), scale), half))
      if (!v128.any_true(f64x2.ne(rounded, f64x2.mul(v128.load(written), scale)))) continue
    }
    const end = sum + ((<usize>min(2, frameCount - i)) << 3)
    for (let at: usize = 0; sum + at < end; at += 8) {
      const rounded = Math.floor(load<f64>(sum + at) * fullScale + 0.5)
      const difference = abs(max(-fullScale, min(fullScale - 1, rounded)) - load<f64>(written + at) * fullScale)
      if (difference === 0) continue
      differing++
      store<f64>(largest, max(load<f64>(largest), difference))
    }
  }
  return differing
}

/**
 * What is left of two tracks made from others under a gain: adds the squares of made - original x gain to `squares`, frame
 * by frame, left before right, and raises the float64 behind it to the largest magnitude. All are float64.
 */
export function foldLeftOver(
  madeLeft: usize,
  madeRight: usize,
  left: usize,
  right: usize,
  gain: usize,
  frameCount: i32,
  squares: usize,
): void {
  let sum = load<f64>(squares)
  let largest = v128.load64_splat(squares, 8)
  const end = (<usize>frameCount) << 3
  for (let at: usize = 0; at < end; at += 8) {
    const scale = load<f64>(gain + at)
    const leftOver = load<f64>(madeLeft + at) - load<f64>(left + at) * scale
    const rightOver = load<f64>(madeRight + at) - load<f64>(right + at) * scale
    sum += leftOver * leftOver
    sum += rightOver * rightOver
    const both = f64x2.replace_lane(f64x2.splat(leftOver), 1, rightOver)
    largest = f64x2.pmax(largest, f64x2.abs(both))
  }
  store<f64>(squares, sum)
  store<f64>(squares, max(f64x2.extract_lane(largest, 0), f64x2.extract_lane(largest, 1)), 8)
}
