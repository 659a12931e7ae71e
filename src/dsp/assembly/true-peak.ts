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
export const BY_PEAK: f64 = 2.023
const INNER_FLAT: f64 = 0.9731
const INNER_FLAT_CURVED: f64 = 0.5698
const INNER_STEEP: f64 = 1.0069
const INNER_STEEP_CURVED: f64 = 0.365
const OUTER_FLAT: f64 = 1.0016
const OUTER_CURVED: f64 = 0.1524

/**
 * Which lanes of a pair (1, 2 or both) may hide a point above its floor, by the highest samples and second differences
 * that their points are made of; all three lie at addresses.
 */
export function mayExceed(peaks: usize, curves: usize, floors: usize): i32 {
  return above(v128.load(peaks), v128.load(curves), v128.load(floors))
}

function above(peaks: v128, curves: v128, floors: v128): i32 {
  const outer = exceeds(peaks, OUTER_FLAT, curves, OUTER_CURVED, floors)
  const flat = exceeds(peaks, INNER_FLAT, curves, INNER_FLAT_CURVED, floors)
  const steep = exceeds(peaks, INNER_STEEP, curves, INNER_STEEP_CURVED, floors)
  const plain = f64x2.gt(f64x2.mul(peaks, f64x2.splat(BY_PEAK)), floors)
  return i64x2.bitmask(v128.and(plain, v128.or(outer, v128.and(flat, steep))))
}

function exceeds(peaks: v128, flat: f64, curves: v128, curved: f64, floors: v128): v128 {
  const bound = f64x2.add(f64x2.mul(peaks, f64x2.splat(flat)), f64x2.mul(curves, f64x2.splat(curved)))
  return f64x2.gt(bound, floors)
}

/** Points that are judged together before any of them is computed. */
const GROUP: i32 = 16

/**
 * `floor`, or the highest interpolated |value| of `frames` outputs if that is higher. `samples` (float32) has 12 samples
 * of the past before it, and room for sixteen after it.
 */
export function pointsAbove(samples: usize, frames: i32, taps: usize, floor: f64): f64 {
  for (let first = 0; first < frames; first += GROUP) {
    const group = samples + (first << 2)
    if (!groupMayExceed(group, floor)) continue
    const count = min(GROUP, frames - first)
    let highest = f32x4.splat(0)
    for (let n = 0; n < count; n += 4) {
      highest = f32x4.pmax(highest, v128.and(fourPoints(group + (n << 2), taps), lanesBelow(count - n)))
    }
    floor = Math.max(floor, highestLane(highest))
  }
  return floor
}

/** The bounds for one group, from its samples and the twelve before it; what lies behind it may only loosen them. */
function groupMayExceed(group: usize, floor: f64): bool {
  let peak = f32x4.splat(0)
  let curve = f32x4.splat(0)
  for (let i = -12; i < GROUP; i += 4) {
    const p = group + (i << 2)
    const here = v128.load(p)
    peak = f32x4.pmax(peak, f32x4.abs(here))
    const after = v128.load(p + 4)
    const slope = f32x4.sub(after, here)
    curve = f32x4.pmax(curve, f32x4.abs(f32x4.sub(f32x4.sub(v128.load(p + 8), after), slope)))
  }
  return above(f64x2.splat(highestLane(peak)), f64x2.splat(highestLane(curve)), f64x2.splat(floor)) !== 0
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
