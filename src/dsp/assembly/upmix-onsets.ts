// Where a new sound begins in two tracks, and the cutting of a signal there.
// A row is four doubles: the sums of l^2, r^2 and l r over a block of frames, and one that stays unused.

const FLOAT: usize = 4
const DOUBLE: usize = 8
const ROW: usize = 4 * DOUBLE

/** Blocks whose mean is what was heard before, in fours, and blocks that are heard from the onset on. */
const BLOCKS_BEFORE: i32 = 60
const BLOCKS_AT_ONCE: i32 = 4
const BLOCKS_AFTER: i32 = 6
/** What the new sound must stand out from at least: a share of itself (-30 dB), and the noise of a 16-bit word. */
const LEAST_SHARE: f64 = 1e-3
const LEAST_POWER: f64 = 1e-10

/**
 * Sums the powers of x[n] - x[n - delay] of two float64 planes in blocks, one row each; zero before the first frame.
 * The difference is a high-pass of corner rate / (6 delay): slow waves do not tell when a sound begins.
 */
export function upmixOnsetRows(
  left: usize,
  right: usize,
  frameCount: i32,
  delay: i32,
  blockFrames: i32,
  rows: usize,
): void {
  let row = rows
  for (let from = 0; from < frameCount; from += blockFrames, row += ROW) {
    const end = min(frameCount, from + blockFrames)
    let lefts = f64x2.splat(0)
    let rights = f64x2.splat(0)
    let products = f64x2.splat(0)
    let i = from
    for (; i < min(delay, end); i++) {
      const l = v128.load64_zero(left + usize(i) * DOUBLE)
      const r = v128.load64_zero(right + usize(i) * DOUBLE)
      lefts = f64x2.add(lefts, f64x2.mul(l, l))
      rights = f64x2.add(rights, f64x2.mul(r, r))
      products = f64x2.add(products, f64x2.mul(l, r))
    }
    for (; i + 2 <= end; i += 2) {
      const at = usize(i) * DOUBLE
      const past = usize(i - delay) * DOUBLE
      const l = f64x2.sub(v128.load(left + at), v128.load(left + past))
      const r = f64x2.sub(v128.load(right + at), v128.load(right + past))
      lefts = f64x2.add(lefts, f64x2.mul(l, l))
      rights = f64x2.add(rights, f64x2.mul(r, r))
      products = f64x2.add(products, f64x2.mul(l, r))
    }
    for (; i < end; i++) {
      const at = usize(i) * DOUBLE
      const past = usize(i - delay) * DOUBLE
      const l = f64x2.sub(v128.load64_zero(left + at), v128.load64_zero(left + past))
      const r = f64x2.sub(v128.load64_zero(right + at), v128.load64_zero(right + past))
      lefts = f64x2.add(lefts, f64x2.mul(l, l))
      rights = f64x2.add(rights, f64x2.mul(r, r))
      products = f64x2.add(products, f64x2.mul(l, r))
    }
    store<f64>(row, laneSum(lefts))
    store<f64>(row, laneSum(rights), DOUBLE)
    store<f64>(row, laneSum(products), 2 * DOUBLE)
  }
}

function laneSum(x: v128): f64 {
  return f64x2.extract_lane(x, 0) + f64x2.extract_lane(x, 1)
}

/**
 * How much the two tracks rise at the first frame of each block, in that mix of them in which they rise most: the larger
 * eigenvalue of (before)^-1 (after), both the mean power matrices [[l^2, l r], [l r, r^2]]. What begins at a place of its
 * own so stands out from what sounds elsewhere. `contrasts` keeps the larger of what it holds and what is found.
 * 60 rows of silence lie ahead of `rows` and 5 behind; `fours` is room for 60 + `blockCount` rows. A sum is always that
 * of the same numbers in the same order, so that what is found does not depend on where a stretch begins.
 */
export function upmixOnsetContrasts(
  rows: usize,
  fours: usize,
  blockCount: i32,
  blockFrames: i32,
  contrasts: usize,
): void {
  const ahead = rows - usize(BLOCKS_BEFORE) * ROW
  for (let k: usize = 0; k < usize(BLOCKS_BEFORE + blockCount) * ROW; k += ROW) {
    v128.store(fours + k, fourRows(ahead + k))
    v128.store(fours + k, fourRows(ahead + k + 2 * DOUBLE), 2 * DOUBLE)
  }
  const shareBefore = 1.0 / f64(BLOCKS_BEFORE * blockFrames)
  // The weights 6, 5 .. 1 make the sum largest where the sound begins, not anywhere near.
  const shareAfter = 2.0 / f64(BLOCKS_AFTER * (BLOCKS_AFTER + 1) * blockFrames)
  for (let k = 0; k < blockCount; k++) {
    let powers = f64x2.splat(0)
    let product = f64x2.splat(0)
    const row = rows + usize(k) * ROW
    for (let n = 0; n < BLOCKS_AFTER; n++) {
      const weight = f64x2.splat(f64(BLOCKS_AFTER - n) * shareAfter)
      powers = f64x2.add(powers, f64x2.mul(weight, v128.load(row + usize(n) * ROW)))
      product = f64x2.add(product, f64x2.mul(weight, v128.load(row + usize(n) * ROW, 2 * DOUBLE)))
    }
    let powersBefore = f64x2.splat(0)
    let productBefore = f64x2.splat(0)
    const four = fours + usize(k) * ROW
    for (let n = 0; n < BLOCKS_BEFORE; n += BLOCKS_AT_ONCE) {
      powersBefore = f64x2.add(powersBefore, v128.load(four + usize(n) * ROW))
      productBefore = f64x2.add(productBefore, v128.load(four + usize(n) * ROW, 2 * DOUBLE))
    }
    const l = f64x2.extract_lane(powers, 0)
    const r = f64x2.extract_lane(powers, 1)
    const x = f64x2.extract_lane(product, 0)
    const least = LEAST_SHARE * (l + r) + LEAST_POWER
    const lBefore = f64x2.extract_lane(powersBefore, 0) * shareBefore + least
    const rBefore = f64x2.extract_lane(powersBefore, 1) * shareBefore + least
    const xBefore = f64x2.extract_lane(productBefore, 0) * shareBefore
    const determinant = lBefore * rBefore - xBefore * xBefore
    const halfTrace = (0.5 * (rBefore * l + lBefore * r) - xBefore * x) / determinant
    const product2 = (l * r - x * x) / determinant
    const contrast = halfTrace + Math.sqrt(max(0.0, halfTrace * halfTrace - product2))
    const at = contrasts + usize(k) * DOUBLE
    store<f64>(at, max(load<f64>(at), contrast))
  }
}

function fourRows(at: usize): v128 {
  const early = f64x2.add(v128.load(at), v128.load(at + ROW))
  return f64x2.add(early, f64x2.add(v128.load(at + 2 * ROW), v128.load(at + 3 * ROW)))
}

/** Multiplies some frames of a plane by 0. */
function silence(plane: usize, first: i32, end: i32): void {
  const zero = f32x4.splat(0)
  let at = plane + usize(first) * FLOAT
  const stop = plane + usize(end) * FLOAT
  for (; at + 16 <= stop; at += 16) v128.store(at, f32x4.mul(v128.load(at), zero))
  for (; at < stop; at += FLOAT) store<f32>(at, load<f32>(at) * 0)
}

/**
 * Opens a plane of `length` floats in place: silent before `rampFrom` (may lie outside), whole `rampFrames` later, and
 * 3u^2 - 2u^3 in between; or shuts it by what is left of 1.
 */
export function upmixGate(plane: usize, length: i32, rampFrom: i32, rampFrames: i32, opens: bool): void {
  const first = min(length, max(0, rampFrom))
  const last = min(length, max(0, rampFrom + rampFrames))
  silence(plane, opens ? 0 : last, opens ? first : length)
  for (let i = first; i < last; i++) {
    const u = (f64(i - rampFrom) + 0.5) / f64(rampFrames)
    const open = u * u * (3.0 - 2.0 * u)
    const at = plane + usize(i) * FLOAT
    store<f32>(at, load<f32>(at) * f32(opens ? open : 1.0 - open))
  }
}
