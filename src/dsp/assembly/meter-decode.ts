// Raw little-endian PCM to lane frames. Reading a pair of samples touches at most 8 bytes beyond the last one: the PCM
// buffer is padded by as many.
import { FLOAT32, FLOAT64, INT16, INT24, INT32, MeterPlan, PAIR, SAMPLE } from './meter-plan'

const SCALE_INT16: f64 = 1.0 / 32768.0
const SCALE_INT32: f64 = 1.0 / 2147483648.0

/** Float samples beyond +96 dBFS are held there, so that filters stay finite. */
const LOUDEST: f64 = 65536

export function sampleBytes(encoding: i32): i32 {
  if (encoding === INT16) return 2
  if (encoding === INT24) return 3
  return encoding === INT32 || encoding === FLOAT32 ? 4 : 8
}

/** Decodes a block; gives the count of samples that were not finite. */
export function decode(plan: MeterPlan, source: usize, lanes: usize, frames: i32): i32 {
  if (plan.channelCount === 6 && plan.encoding === INT24) {
    decodeSixInt24(source, lanes, frames)
    return 0
  }
  let count = 0
  for (let pair = 0; pair < plan.channelPairs; pair++) count += decodePair(plan, source, pair, lanes, frames)
  return count
}

/** Decodes one pair of lanes; a lane that the layout does not have is cleared. */
export function decodePair(plan: MeterPlan, source: usize, pair: i32, lanes: usize, frames: i32): i32 {
  const channels = plan.channelCount
  const channel = channels === 5 && pair === 2 ? 3 : 2 * pair
  const isPair = !(channels === 1 || (channels === 5 && pair === 1))
  const to = lanes + pair * PAIR
  const toStride = plan.laneBytes
  if (plan.encoding > FLOAT64) {
    const from = source + channel * plan.planeBytes
    const count = decodePlane(from, to, toStride, frames)
    return isPair ? count + decodePlane(from + plan.planeBytes, to + SAMPLE, toStride, frames) : count
  }
  const from = source + channel * sampleBytes(plan.encoding)
  const fromStride = plan.sourceFrameBytes
  const keep = i64x2(-1, isPair ? -1 : 0)
  switch (plan.encoding) {
    case INT16:
      decodeInt16(from, fromStride, to, toStride, frames, keep)
      return 0
    case INT24:
      decodeInt24(from, fromStride, to, toStride, frames, keep)
      return 0
    case INT32:
      decodeInt32(from, fromStride, to, toStride, frames, keep)
      return 0
    case FLOAT32:
      return decodeFloat32(from, fromStride, to, toStride, frames, keep)
    default:
      return decodeFloat64(from, fromStride, to, toStride, frames, keep)
  }
}

function decodeInt16(from: usize, fromStride: i32, to: usize, toStride: i32, frames: i32, keep: v128): void {
  const scale = f64x2.splat(SCALE_INT16)
  for (let i = 0; i < frames; i++) {
    const pair = f64x2.convert_low_i32x4_s(i32x4.extend_low_i16x8_s(v128.load32_zero(from)))
    v128.store(to, v128.and(f64x2.mul(pair, scale), keep))
    from += fromStride
    to += toStride
  }
}

function decodeInt24(from: usize, fromStride: i32, to: usize, toStride: i32, frames: i32, keep: v128): void {
  for (let i = 0; i < frames; i++) {
    v128.store(to, v128.and(int24Pair(v128.load64_zero(from)), keep))
    from += fromStride
    to += toStride
  }
}

/** The same for the six channels of 5.1 at once, the commonest master. */
function decodeSixInt24(from: usize, to: usize, frames: i32): void {
  for (let i = 0; i < frames; i++) {
    v128.store(to, int24Pair(v128.load64_zero(from)))
    v128.store(to, int24Pair(v128.load64_zero(from, 6)), PAIR)
    v128.store(to, int24Pair(v128.load64_zero(from, 12)), 2 * PAIR)
    from += 18
    to += 4 * PAIR
  }
}

/** The three bytes go to the top of a 32-bit word, so that the sign needs no extension. */
function int24Pair(bytes: v128): v128 {
  const spread = i8x16.swizzle(bytes, i8x16(-1, 0, 1, 2, -1, 3, 4, 5, -1, -1, -1, -1, -1, -1, -1, -1))
  return f64x2.mul(f64x2.convert_low_i32x4_s(spread), f64x2.splat(SCALE_INT32))
}

function decodeInt32(from: usize, fromStride: i32, to: usize, toStride: i32, frames: i32, keep: v128): void {
  const scale = f64x2.splat(SCALE_INT32)
  for (let i = 0; i < frames; i++) {
    v128.store(to, v128.and(f64x2.mul(f64x2.convert_low_i32x4_s(v128.load64_zero(from)), scale), keep))
    from += fromStride
    to += toStride
  }
}

/** Takes NaN and infinite samples as 0; gives their count. */
function decodeFloat32(from: usize, fromStride: i32, to: usize, toStride: i32, frames: i32, keep: v128): i32 {
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
function decodeFloat64(from: usize, fromStride: i32, to: usize, toStride: i32, frames: i32, keep: v128): i32 {
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
function decodePlane(from: usize, to: usize, toStride: i32, frames: i32): i32 {
  let count = 0
  for (let i = 0; i < frames; i++) {
    const sample = load<f64>(from)
    const finite = sample - sample === 0
    if (!finite) count += 1
    store<f64>(to, finite ? Math.max(-LOUDEST, Math.min(LOUDEST, sample)) : 0)
    from += SAMPLE
    to += toStride
  }
  return count
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
