// The final quantiser: samples to words, fronts derived so that the fold-down is exact. The door is `dsp/words.ts`.
// Lines hold words of one channel as i32; counts of frames are multiples of 4 (the rest of a line is not used).

/** The fold-down coefficient of centre and surrounds (ITU-R BS.775-4 Table 2), the double nearest to sqrt(1/2). */
const K: f64 = 0.7071067811865476

/** Sums closer than this to a rounding tie, in steps of the word, could fall either way in other arithmetic. */
const TIE: f64 = 1.0 / 1048576

const DITHER_NEVER: i32 = 0
const DITHER_ALWAYS: i32 = 1

/** A well-mixed 32-bit hash of four frame numbers under two keys (multiply-xorshift rounds, a bijection of the frame). */
function hash(frames: v128, key0: v128, key1: v128): v128 {
  let h = v128.xor(i32x4.mul(frames, i32x4.splat(0x9e3779b1)), key0)
  h = v128.xor(h, i32x4.shr_u(h, 16))
  h = i32x4.mul(h, i32x4.splat(0x7feb352d))
  h = v128.xor(h, i32x4.shr_u(h, 15))
  h = i32x4.mul(i32x4.add(h, key1), i32x4.splat(0x846ca68b))
  h = v128.xor(h, i32x4.shr_u(h, 16))
  h = i32x4.mul(h, i32x4.splat(0x21f0aaad))
  h = v128.xor(h, i32x4.shr_u(h, 15))
  h = i32x4.mul(h, i32x4.splat(0x735a2d97))
  return v128.xor(h, i32x4.shr_u(h, 15))
}

/** Triangular noise in steps of the word times 65536, open interval (-65536, 65536), mean exactly 0. */
function triangular(bits: v128): v128 {
  const sum = i32x4.add(v128.and(bits, i32x4.splat(0xffff)), i32x4.shr_u(bits, 16))
  return i32x4.sub(sum, i32x4.splat(65535))
}

function twoSamples(plane: usize, isWide: i32): v128 {
  return isWide ? v128.load(plane) : f64x2.promote_low_f32x4(v128.load64_zero(plane))
}

/** 1.5 x 2^52: added to a whole number it leaves that number in the low bits of the sum. */
const WHOLE_NUMBER_BITS: f64 = 6755399441055744

/** The words of two lanes of whole numbers, each in the low half of its lane. */
function wordsOf(whole: v128): v128 {
  return f64x2.add(whole, f64x2.splat(WHOLE_NUMBER_BITS))
}

/** Holds whole numbers within the word. `pmin` and `pmax` are one instruction each; nothing here is not a number. */
function held(whole: v128, lowest: v128, highest: v128): v128 {
  return f64x2.pmin(f64x2.pmax(whole, lowest), highest)
}

/** Adds to two lanes of counts one for each lane that had to be held. */
function countHeld(counts: v128, whole: v128, word: v128): v128 {
  return i64x2.sub(counts, f64x2.ne(whole, word))
}

function countOf(lanes: v128): i32 {
  return <i32>(i64x2.extract_lane(lanes, 0) + i64x2.extract_lane(lanes, 1))
}

/**
 * words[i] = plane[i] x gain[i] x fullScale rounded half up and held within the word; gives back how many did not fit.
 * `dither`: 0 never, 1 always, 2 unless the gain is exactly 1. `frame` is the low half of the first frame's number.
 */
export function quantiseLine(
  plane: usize,
  isWide: i32,
  gain: usize,
  frameCount: i32,
  fullScale: f64,
  dither: i32,
  key0: i32,
  key1: i32,
  frame: i32,
  words: usize,
): i32 {
  const scale = f64x2.splat(fullScale)
  const half = f64x2.splat(0.5)
  const one = f64x2.splat(1)
  const lowest = f64x2.splat(-fullScale)
  const highest = f64x2.splat(fullScale - 1)
  const unit = f64x2.splat(1.0 / 65536)
  const keys0 = i32x4.splat(key0)
  const keys1 = i32x4.splat(key1)
  const four = i32x4.splat(4)
  let frames = i32x4.add(i32x4.splat(frame), i32x4(0, 1, 2, 3))
  let overs = i64x2.splat(0)
  const step: usize = isWide ? 16 : 8
  for (let i = 0; i < frameCount; i += 4, words += 16, gain += 32, plane += 2 * step) {
    const gain0 = v128.load(gain)
    const gain1 = v128.load(gain, 16)
    let value0 = f64x2.mul(f64x2.mul(twoSamples(plane, isWide), scale), gain0)
    let value1 = f64x2.mul(f64x2.mul(twoSamples(plane + step, isWide), scale), gain1)
    if (dither !== DITHER_NEVER) {
      const noise = triangular(hash(frames, keys0, keys1))
      frames = i32x4.add(frames, four)
      let noise0 = f64x2.mul(f64x2.convert_low_i32x4_s(noise), unit)
      let noise1 = f64x2.mul(f64x2.convert_low_i32x4_s(i64x2.shuffle(noise, noise, 1, 1)), unit)
      if (dither !== DITHER_ALWAYS) {
        noise0 = v128.and(noise0, f64x2.ne(gain0, one))
        noise1 = v128.and(noise1, f64x2.ne(gain1, one))
      }
      value0 = f64x2.add(value0, noise0)
      value1 = f64x2.add(value1, noise1)
    }
    value0 = f64x2.floor(f64x2.add(value0, half))
    value1 = f64x2.floor(f64x2.add(value1, half))
    const word0 = held(value0, lowest, highest)
    const word1 = held(value1, lowest, highest)
    overs = countHeld(countHeld(overs, value0, word0), value1, word1)
    v128.store(words, i32x4.shuffle(wordsOf(word0), wordsOf(word1), 0, 2, 4, 6))
  }
  return countOf(overs)
}

function twoWords(words: usize): v128 {
  return f64x2.convert_low_i32x4_s(v128.load64_zero(words))
}

/**
 * front = stereo - k (centre + surround), rounded half up and held within the word; gives back how many did not fit.
 * Where the sum is within 2^-20 of a tie the surround word moves by one step, so that any double arithmetic folds the
 * words down to `stereo`; `counts` (i32) is raised by the number of such moves.
 */
export function deriveFront(
  stereo: usize,
  centre: usize,
  surround: usize,
  frameCount: i32,
  fullScale: f64,
  front: usize,
  counts: usize,
): i32 {
  const half = f64x2.splat(0.5)
  const lowest = f64x2.splat(-fullScale)
  const highest = f64x2.splat(fullScale - 1)
  const k = f64x2.splat(K)
  const tie = f64x2.splat(TIE)
  const highestWord = <i32>fullScale - 1
  let overs = i64x2.splat(0)
  let ties = 0
  for (let i = 0; i < frameCount; i += 2, stereo += 8, centre += 8, surround += 8, front += 8) {
    let sum = f64x2.sub(twoWords(stereo), f64x2.mul(k, f64x2.add(twoWords(centre), twoWords(surround))))
    const near = f64x2.lt(f64x2.abs(f64x2.sub(f64x2.sub(sum, f64x2.floor(sum)), half)), tie)
    if (v128.any_true(near)) {
      for (let lane: usize = 0; lane < 8; lane += 4) {
        if (!(lane ? i64x2.extract_lane(near, 1) : i64x2.extract_lane(near, 0))) continue
        const word = load<i32>(surround + lane)
        store<i32>(surround + lane, word < highestWord ? word + 1 : word - 1)
        ties++
      }
      sum = f64x2.sub(twoWords(stereo), f64x2.mul(k, f64x2.add(twoWords(centre), twoWords(surround))))
    }
    const value = f64x2.floor(f64x2.add(sum, half))
    const word = held(value, lowest, highest)
    overs = countHeld(overs, value, word)
    const words32 = wordsOf(word)
    v128.store64_lane(front, i32x4.shuffle(words32, words32, 0, 2, 0, 2), 0)
  }
  store<i32>(counts, load<i32>(counts) + ties)
  return countOf(overs)
}

/**
 * Both fronts by the same subtraction, then their difference widened: mid + spread x side, with a spread (f64) for each
 * frame. This opens the fold-down lock; gives back how many words did not fit.
 */
export function deriveSpreadFronts(
  lo: usize,
  ro: usize,
  centre: usize,
  left: usize,
  right: usize,
  frameCount: i32,
  fullScale: f64,
  spreads: usize,
  frontLeft: usize,
  frontRight: usize,
): i32 {
  let overs = 0
  const highest = fullScale - 1
  for (let i = 0; i < frameCount; i++) {
    const at = (<usize>i) << 2
    const c = <f64>load<i32>(centre + at)
    const l = <f64>load<i32>(lo + at) - K * (c + <f64>load<i32>(left + at))
    const r = <f64>load<i32>(ro + at) - K * (c + <f64>load<i32>(right + at))
    const mid = (l + r) * 0.5
    const side = (l - r) * 0.5 * load<f64>(spreads + (at << 1))
    const wordL = Math.floor(mid + side + 0.5)
    const wordR = Math.floor(mid - side + 0.5)
    if (wordL < -fullScale || wordL > highest) overs++
    if (wordR < -fullScale || wordR > highest) overs++
    store<i32>(frontLeft + at, <i32>max(-fullScale, min(highest, wordL)))
    store<i32>(frontRight + at, <i32>max(-fullScale, min(highest, wordR)))
  }
  return overs
}

/** sums[i] (f64) += weight x words[i]; with `isFirst` sums[i] = weight x words[i]. */
export function addToFold(sums: usize, words: usize, weight: f64, frameCount: i32, isFirst: i32): void {
  const weights = f64x2.splat(weight)
  for (let i = 0; i < frameCount; i += 2, sums += 16, words += 8) {
    const term = f64x2.mul(weights, twoWords(words))
    v128.store(sums, isFirst ? term : f64x2.add(v128.load(sums), term))
  }
}

/** words[i] = sums[i] rounded half up and held within the word; gives back how many did not fit. */
export function roundFold(sums: usize, frameCount: i32, fullScale: f64, words: usize): i32 {
  const half = f64x2.splat(0.5)
  const lowest = f64x2.splat(-fullScale)
  const highest = f64x2.splat(fullScale - 1)
  let overs = i64x2.splat(0)
  for (let i = 0; i < frameCount; i += 2, sums += 16, words += 8) {
    const value = f64x2.floor(f64x2.add(v128.load(sums), half))
    const word = held(value, lowest, highest)
    overs = countHeld(overs, value, word)
    const words32 = wordsOf(word)
    v128.store64_lane(words, i32x4.shuffle(words32, words32, 0, 2, 0, 2), 0)
  }
  return countOf(overs)
}

/** Writes one channel of words into interleaved little-endian PCM; `first` is the address of its first word. */
export function packLine(words: usize, frameCount: i32, bytesPerWord: i32, frameBytes: i32, first: usize): void {
  const end = words + ((<usize>frameCount) << 2)
  if (bytesPerWord === 2) {
    for (; words < end; words += 4, first += frameBytes) store<i16>(first, <i16>load<i32>(words))
    return
  }
  for (; words < end; words += 4, first += frameBytes) {
    const word = load<i32>(words)
    store<i16>(first, <i16>word)
    store<i8>(first, <i8>(word >> 16), 2)
  }
}

/** The same of two neighbouring channels at once. */
export function packPair(
  left: usize,
  right: usize,
  frameCount: i32,
  bytesPerWord: i32,
  frameBytes: i32,
  first: usize,
): void {
  const end = left + ((<usize>frameCount) << 2)
  if (bytesPerWord === 2) {
    for (; left < end; left += 4, right += 4, first += frameBytes) {
      store<i32>(first, (load<i32>(left) & 0xffff) | (load<i32>(right) << 16))
    }
    return
  }
  for (; left < end; left += 4, right += 4, first += frameBytes) {
    const word = load<i32>(right)
    store<i32>(first, (load<i32>(left) & 0xffffff) | (word << 24))
    store<i16>(first, <i16>(word >> 8), 4)
  }
}
