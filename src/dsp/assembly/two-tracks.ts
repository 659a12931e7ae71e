// Figures of two tracks (float32) along time, in double precision; every sum is taken in the order of the scalar twin.

/** Sums of squares left and right, sums left and right, and the sum of products, as float64. */
export function tracksMoments(left: usize, right: usize, count: i32, out: usize): void {
  let squares = f64x2.splat(0)
  let sums = f64x2.splat(0)
  let products: f64 = 0
  const end = left + ((<usize>count) << 2)
  for (; left < end; left += 4, right += 4) {
    const l = <f64>load<f32>(left)
    const r = <f64>load<f32>(right)
    const both = f64x2.replace_lane(f64x2.splat(l), 1, r)
    squares = f64x2.add(squares, f64x2.mul(both, both))
    sums = f64x2.add(sums, both)
    products += l * r
  }
  v128.store(out, squares)
  v128.store(out, sums, 16)
  store<f64>(out, products, 32)
}

/** The highest magnitude of `count` frames (a multiple of 4). */
export function trackPeak(track: usize, count: i32): f32 {
  // `pmax` is one instruction; nothing here is not a number.
  let most = f32x4.splat(0)
  const end = track + ((<usize>count) << 2)
  for (; track < end; track += 16) most = f32x4.pmax(most, f32x4.abs(v128.load(track)))
  const two = f32x4.pmax(most, v128.shuffle<f32>(most, most, 2, 3, 0, 1))
  return max(f32x4.extract_lane(two, 0), f32x4.extract_lane(two, 1))
}

/**
 * Writes the frames from `first` up to `end` at which a track has gone to the other side of zero by `level`, as int32, and
 * gives their number. `isHigh`: on which side it was before.
 */
export function trackChanges(track: usize, first: i32, end: i32, level: f32, isHigh: i32, out: usize): i32 {
  const start = out
  const levels = f32x4.splat(level)
  let frame = first
  while (frame < end) {
    // Groups in which nothing changes are passed over.
    while (frame + 4 <= end) {
      const samples = v128.load(track + ((<usize>frame) << 2))
      const isThere = isHigh ? f32x4.le(samples, f32x4.neg(levels)) : f32x4.ge(samples, levels)
      if (v128.any_true(isThere)) break
      frame += 4
    }
    const stop = min(frame + 4, end)
    for (; frame < stop; frame++) {
      const sample = load<f32>(track + ((<usize>frame) << 2))
      if (isHigh ? sample > -level : sample < level) continue
      store<i32>(out, frame)
      out += 4
      isHigh = isHigh ? 0 : 1
    }
  }
  return <i32>((out - start) >> 2)
}
