// Raw little-endian PCM to lane frames: float64, full scale = 1, two channels a vector. Called pair by pair.
// Where not `both` lanes are wanted (mono, centre of 5.0) the second is cleared.
// Reading a pair touches at most 8 bytes beyond the last sample: the PCM buffer is padded by as many.

const SCALE_INT16: f64 = 1.0 / 32768.0
const SCALE_INT32: f64 = 1.0 / 2147483648.0

/** Float samples beyond +96 dBFS are held there, so that filters stay finite. */
const LOUDEST: f64 = 65536

export function decodeInt16(from: usize, fromStride: i32, to: usize, toStride: i32, frames: i32, both: bool): void {
  const keep = kept(both)
  const scale = f64x2.splat(SCALE_INT16)
  for (let i = 0; i < frames; i++) {
    const pair = f64x2.convert_low_i32x4_s(i32x4.extend_low_i16x8_s(v128.load32_zero(from)))
    v128.store(to, v128.and(f64x2.mul(pair, scale), keep))
    from += fromStride
    to += toStride
  }
}

/** The three bytes go to the top of a 32-bit word, so that the sign needs no extension. */
export function decodeInt24(from: usize, fromStride: i32, to: usize, toStride: i32, frames: i32, both: bool): void {
  const keep = kept(both)
  const scale = f64x2.splat(SCALE_INT32)
  const spread = i8x16(16, 0, 1, 2, 16, 3, 4, 5, 16, 16, 16, 16, 16, 16, 16, 16)
  for (let i = 0; i < frames; i++) {
    const pair = f64x2.convert_low_i32x4_s(i8x16.swizzle(v128.load64_zero(from), spread))
    v128.store(to, v128.and(f64x2.mul(pair, scale), keep))
    from += fromStride
    to += toStride
  }
}

export function decodeInt32(from: usize, fromStride: i32, to: usize, toStride: i32, frames: i32, both: bool): void {
  const keep = kept(both)
  const scale = f64x2.splat(SCALE_INT32)
  for (let i = 0; i < frames; i++) {
    v128.store(to, v128.and(f64x2.mul(f64x2.convert_low_i32x4_s(v128.load64_zero(from)), scale), keep))
    from += fromStride
    to += toStride
  }
}

/** Takes NaN and infinite samples as 0; gives their count. */
export function decodeFloat32(from: usize, fromStride: i32, to: usize, toStride: i32, frames: i32, both: bool): i32 {
  const keep = kept(both)
  let finiteCount = i64x2.splat(0)
  for (let i = 0; i < frames; i++) {
    const pair = v128.and(f64x2.promote_low_f32x4(v128.load64_zero(from)), keep)
    const finite = finiteLanes(pair)
    finiteCount = i64x2.sub(finiteCount, finite)
    v128.store(to, held(v128.and(pair, finite)))
    from += fromStride
    to += toStride
  }
  return nonFinite(finiteCount, frames)
}

/** Takes NaN and infinite samples as 0; gives their count. */
export function decodeFloat64(from: usize, fromStride: i32, to: usize, toStride: i32, frames: i32, both: bool): i32 {
  const keep = kept(both)
  let finiteCount = i64x2.splat(0)
  for (let i = 0; i < frames; i++) {
    const pair = v128.and(v128.load(from), keep)
    const finite = finiteLanes(pair)
    finiteCount = i64x2.sub(finiteCount, finite)
    v128.store(to, held(v128.and(pair, finite)))
    from += fromStride
    to += toStride
  }
  return nonFinite(finiteCount, frames)
}

/** One planar channel into every `toStride` bytes. Takes NaN and infinite samples as 0; gives their count. */
export function decodePlane(from: usize, to: usize, toStride: i32, frames: i32): i32 {
  let count = 0
  for (let i = 0; i < frames; i++) {
    const sample = load<f64>(from)
    const finite = sample - sample === 0
    if (!finite) count += 1
    store<f64>(to, finite ? Math.max(-LOUDEST, Math.min(LOUDEST, sample)) : 0)
    from += 8
    to += toStride
  }
  return count
}

function kept(both: bool): v128 {
  return i64x2(-1, both ? -1 : 0)
}

function held(pair: v128): v128 {
  const loudest = f64x2.splat(LOUDEST)
  return f64x2.pmax(f64x2.neg(loudest), f64x2.pmin(loudest, pair))
}

/** x - x is NaN where x is NaN or infinite, and NaN is not equal to itself. */
function finiteLanes(pair: v128): v128 {
  const difference = f64x2.sub(pair, pair)
  return f64x2.eq(difference, difference)
}

function nonFinite(finiteCount: v128, frames: i32): i32 {
  return 2 * frames - <i32>(i64x2.extract_lane(finiteCount, 0) + i64x2.extract_lane(finiteCount, 1))
}
