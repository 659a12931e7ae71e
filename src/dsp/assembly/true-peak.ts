// The highest |value| between the samples: 4x interpolation by 12 taps a phase (ITU-R BS.1770-5 Annex 2).
// Phases 0 and 3, and 1 and 2, are mirror images: with s = x[k] + x[11-k], d = x[k] - x[11-k], A = sum e s, B = sum o d,
// the two phases are A + B and A - B, and the larger magnitude of both is |A| + |B|.
// A bound on every point of a block is known without computing one, so nearly all of the work is skipped and nothing
// is lost.

/** Bytes from the oldest of the twelve samples of an output to the newest. */
const OLDEST: i32 = 44

/** Where the taps lie: six vectors each of outer even, outer odd, inner even, inner odd. */
const OUTER_ODD: usize = 96
const INNER_EVEN: usize = 192
const INNER_ODD: usize = 288

/**
 * Bounds on an interpolated point, from the highest |x| and the highest |x[n-1] - 2 x[n] + x[n+1]| of its 12 samples:
 * the sum of |taps|, and the same taps written as (a few samples) + (second differences). A hair above the exact
 * 2.0228271484375, (1.0068359375, 0.36492919921875), (0.9730224609375, 0.56970214843750) for the inner pair of phases and
 * (1.0015869140625, 0.15234375) for the outer pair, for the rounding of float32.
 */
const BY_PEAK: f64 = 2.023
const INNER_FLAT: f64 = 0.9731
const INNER_FLAT_CURVED: f64 = 0.5698
const INNER_STEEP: f64 = 1.0069
const INNER_STEEP_CURVED: f64 = 0.365
const OUTER_FLAT: f64 = 1.0016
const OUTER_CURVED: f64 = 0.1524

/** Whether samples up to `peak` with second differences up to `curve` may hide a point above `floor` between them. */
export function mayExceed(peak: f64, curve: f64, floor: f64): bool {
  if (peak * BY_PEAK <= floor) return false
  return (
    peak * OUTER_FLAT + curve * OUTER_CURVED > floor ||
    (peak * INNER_FLAT + curve * INNER_FLAT_CURVED > floor && peak * INNER_STEEP + curve * INNER_STEEP_CURVED > floor)
  )
}

/**
 * The highest interpolated |value| of `frames` outputs. `samples` (float32) has 12 samples of the past before it, and
 * room for three after it.
 */
export function interpolatedPeak(samples: usize, frames: i32, taps: usize): f32 {
  let highest = f32x4.splat(0)
  for (let n = 0; n < frames; n += 4) {
    highest = f32x4.pmax(highest, v128.and(fourPoints(samples + (n << 2), taps), lanesBelow(frames - n)))
  }
  return highestLane(highest)
}

/** The first of `frames` outputs whose |value| is `peak`. */
export function outputAt(samples: usize, frames: i32, taps: usize, peak: f32): i32 {
  for (let n = 0; n < frames; n += 4) {
    const equal = i32x4.bitmask(f32x4.eq(fourPoints(samples + (n << 2), taps), f32x4.splat(peak)))
    if (equal !== 0) return n + ctz(equal)
  }
  return frames
}

/** The highest |phase| at each of four outputs: |A| + |B| of the outer and of the inner pair of mirrored phases. */
function fourPoints(newest: usize, taps: usize): v128 {
  const oldest = newest - OLDEST
  let outerA = f32x4.splat(0)
  let outerB = f32x4.splat(0)
  let innerA = f32x4.splat(0)
  let innerB = f32x4.splat(0)
  for (let k = 0; k < 6; k++) {
    const late = v128.load(newest - (k << 2))
    const early = v128.load(oldest + (k << 2))
    const sum = f32x4.add(late, early)
    const difference = f32x4.sub(late, early)
    const tap = taps + (k << 4)
    outerA = f32x4.add(outerA, f32x4.mul(sum, v128.load(tap)))
    outerB = f32x4.add(outerB, f32x4.mul(difference, v128.load(tap, OUTER_ODD)))
    innerA = f32x4.add(innerA, f32x4.mul(sum, v128.load(tap, INNER_EVEN)))
    innerB = f32x4.add(innerB, f32x4.mul(difference, v128.load(tap, INNER_ODD)))
  }
  const outer = f32x4.add(f32x4.abs(outerA), f32x4.abs(outerB))
  return f32x4.pmax(outer, f32x4.add(f32x4.abs(innerA), f32x4.abs(innerB)))
}

function lanesBelow(count: i32): v128 {
  return i32x4.lt_s(i32x4(0, 1, 2, 3), i32x4.splat(count))
}

function highestLane(v: v128): f32 {
  const halves = f32x4.pmax(v, i64x2.shuffle(v, v, 1, 0))
  return f32x4.extract_lane(f32x4.pmax(halves, i32x4.shuffle(halves, halves, 1, 0, 3, 2)), 0)
}
