// From two tracks to the smoothed powers from which the upmix computes its weights.
// A spectrum is four planes of `stride` floats: re and im of left, re and im of right; bins 0 .. n/2, then padding.
// A power frame is four planes likewise: |L|^2, |R|^2, Re L conj(R), Im L conj(R).

const FLOAT: usize = 4
const DOUBLE: usize = 8
const VECTOR: usize = 16

/** What stands in the table of averages for each bin: two i32 and an f64. */
const REACH_BYTES: usize = 16

const LEFT_SOUNDS: i32 = 1
const RIGHT_SOUNDS: i32 = 2

/** Writes the square root of a periodic Hann window times `scale`, `length` floats. */
export function upmixFillWindow(window: usize, length: i32, scale: f64): void {
  for (let i = 0; i < length; i++) {
    store<f32>(window + usize(i) * FLOAT, f32(scale * Math.sin((Math.PI * f64(i)) / f64(length))))
  }
}

/** Writes cos(2 pi i / period) and sin(2 pi i / period) for one period, as two planes of doubles. */
export function upmixFillTurns(turns: usize, period: i32): void {
  for (let i = 0; i < period; i++) {
    const angle = (2.0 * Math.PI * f64(i)) / f64(period)
    store<f64>(turns + usize(i) * DOUBLE, Math.cos(angle))
    store<f64>(turns + usize(period + i) * DOUBLE, Math.sin(angle))
  }
}

/**
 * Windows `length` frames of two float64 planes from frame `from` on (may begin before 0 or end after `frameCount`:
 * zero there) into `re` (left) and `im` (right). Gives bit 0 where left sounds, bit 1 where right sounds.
 */
export function upmixWindowPair(
  left: usize,
  right: usize,
  from: i32,
  frameCount: i32,
  window: usize,
  length: i32,
  re: usize,
  im: usize,
): i32 {
  const inside = from >= 0 && from + length <= frameCount
  const leftSounds = inside
    ? windowInside(left + usize(from) * DOUBLE, window, length, re)
    : windowAtEdge(left, from, frameCount, window, length, re)
  const rightSounds = inside
    ? windowInside(right + usize(from) * DOUBLE, window, length, im)
    : windowAtEdge(right, from, frameCount, window, length, im)
  return (leftSounds ? LEFT_SOUNDS : 0) | (rightSounds ? RIGHT_SOUNDS : 0)
}

function windowInside(samples: usize, window: usize, length: i32, out: usize): bool {
  let any = i32x4.splat(0)
  const end = usize(length) * FLOAT
  for (let i: usize = 0; i < end; i += VECTOR) {
    const low = f32x4.demote_f64x2_zero(v128.load(samples + 2 * i))
    const high = f32x4.demote_f64x2_zero(v128.load(samples + 2 * i, 16))
    const x = v128.shuffle<f32>(low, high, 0, 1, 4, 5)
    any = v128.or(any, f32x4.abs(x))
    v128.store(out + i, f32x4.mul(x, v128.load(window + i)))
  }
  return v128.any_true(any)
}

function windowAtEdge(plane: usize, from: i32, frameCount: i32, window: usize, length: i32, out: usize): bool {
  let any = false
  for (let i = 0; i < length; i++) {
    const at = from + i
    const x = at < 0 || at >= frameCount ? f32(0) : f32(load<f64>(plane + usize(at) * DOUBLE))
    if (x !== 0) any = true
    store<f32>(out + usize(i) * FLOAT, x * load<f32>(window + usize(i) * FLOAT))
  }
  return any
}

/**
 * Parts the transform of left + i right (length n, room for n + 4 floats a plane) into the spectra of both.
 * A track that `sounding` calls silent gets exact zeros, so that rounding cannot leak into it.
 */
export function upmixPartSpectra(re: usize, im: usize, length: i32, sounding: i32, spectrum: usize, stride: i32): void {
  const plane = usize(stride) * FLOAT
  const nyquist = usize(length >> 1) * FLOAT
  const top = usize(length - 3) * FLOAT
  store<f32>(re + usize(length) * FLOAT, load<f32>(re))
  store<f32>(im + usize(length) * FLOAT, load<f32>(im))
  const leftHalf = f32x4.splat((sounding & LEFT_SOUNDS) !== 0 ? 0.5 : 0)
  const rightHalf = f32x4.splat((sounding & RIGHT_SOUNDS) !== 0 ? 0.5 : 0)
  for (let k: usize = 0; k <= nyquist; k += VECTOR) {
    const zr = v128.load(re + k)
    const zi = v128.load(im + k)
    const mirrorR = v128.load(re + top - k)
    const mirrorI = v128.load(im + top - k)
    const yr = v128.shuffle<f32>(mirrorR, mirrorR, 3, 2, 1, 0)
    const yi = v128.shuffle<f32>(mirrorI, mirrorI, 3, 2, 1, 0)
    const at = spectrum + k
    v128.store(at, f32x4.mul(leftHalf, f32x4.add(zr, yr)))
    v128.store(at + plane, f32x4.mul(leftHalf, f32x4.sub(zi, yi)))
    v128.store(at + 2 * plane, f32x4.mul(rightHalf, f32x4.add(zi, yi)))
    v128.store(at + 3 * plane, f32x4.mul(rightHalf, f32x4.sub(yr, zr)))
  }
}

/** The power frame of two neighbouring transforms: the mean of both. */
export function upmixPowers(first: usize, second: usize, powers: usize, stride: i32, half: f32): void {
  const plane = usize(stride) * FLOAT
  const mean = f32x4.splat(half)
  for (let k: usize = 0; k < plane; k += VECTOR) {
    const lr = v128.load(first + k)
    const li = v128.load(first + k + plane)
    const rr = v128.load(first + k + 2 * plane)
    const ri = v128.load(first + k + 3 * plane)
    const lr2 = v128.load(second + k)
    const li2 = v128.load(second + k + plane)
    const rr2 = v128.load(second + k + 2 * plane)
    const ri2 = v128.load(second + k + 3 * plane)
    const left = f32x4.add(squareSum(lr, li), squareSum(lr2, li2))
    const right = f32x4.add(squareSum(rr, ri), squareSum(rr2, ri2))
    const re = f32x4.add(
      f32x4.add(f32x4.mul(lr, rr), f32x4.mul(li, ri)),
      f32x4.add(f32x4.mul(lr2, rr2), f32x4.mul(li2, ri2)),
    )
    const im = f32x4.add(
      f32x4.sub(f32x4.mul(li, rr), f32x4.mul(lr, ri)),
      f32x4.sub(f32x4.mul(li2, rr2), f32x4.mul(lr2, ri2)),
    )
    v128.store(powers + k, f32x4.mul(mean, left))
    v128.store(powers + k + plane, f32x4.mul(mean, right))
    v128.store(powers + k + 2 * plane, f32x4.mul(mean, re))
    v128.store(powers + k + 3 * plane, f32x4.mul(mean, im))
  }
}

function squareSum(x: v128, y: v128): v128 {
  return f32x4.add(f32x4.mul(x, x), f32x4.mul(y, y))
}

/**
 * Averages a power frame over neighbouring bins. `reach` holds for every bin of the stride the first bin and the bin past
 * the last as i32, and one over their distance as f64. `prefix` is room for 4 (stride + 1) doubles.
 */
export function upmixAverageBins(powers: usize, out: usize, stride: i32, reach: usize, prefix: usize): void {
  const plane = usize(stride) * FLOAT
  const row: usize = 4 * DOUBLE
  let sumPowers = f64x2.splat(0)
  let sumCross = f64x2.splat(0)
  v128.store(prefix, sumPowers)
  v128.store(prefix, sumCross, 16)
  let to = prefix + row
  for (let k: usize = 0; k < plane; k += VECTOR) {
    const a = v128.load(powers + k)
    const b = v128.load(powers + k + plane)
    const c = v128.load(powers + k + 2 * plane)
    const d = v128.load(powers + k + 3 * plane)
    const abLow = v128.shuffle<f32>(a, b, 0, 4, 1, 5)
    const abHigh = v128.shuffle<f32>(a, b, 2, 6, 3, 7)
    const cdLow = v128.shuffle<f32>(c, d, 0, 4, 1, 5)
    const cdHigh = v128.shuffle<f32>(c, d, 2, 6, 3, 7)
    sumPowers = f64x2.add(sumPowers, f64x2.promote_low_f32x4(abLow))
    sumCross = f64x2.add(sumCross, f64x2.promote_low_f32x4(cdLow))
    v128.store(to, sumPowers)
    v128.store(to, sumCross, 16)
    sumPowers = f64x2.add(sumPowers, f64x2.promote_low_f32x4(v128.shuffle<f32>(abLow, abLow, 2, 3, 2, 3)))
    sumCross = f64x2.add(sumCross, f64x2.promote_low_f32x4(v128.shuffle<f32>(cdLow, cdLow, 2, 3, 2, 3)))
    v128.store(to, sumPowers, 32)
    v128.store(to, sumCross, 48)
    sumPowers = f64x2.add(sumPowers, f64x2.promote_low_f32x4(abHigh))
    sumCross = f64x2.add(sumCross, f64x2.promote_low_f32x4(cdHigh))
    v128.store(to, sumPowers, 64)
    v128.store(to, sumCross, 80)
    sumPowers = f64x2.add(sumPowers, f64x2.promote_low_f32x4(v128.shuffle<f32>(abHigh, abHigh, 2, 3, 2, 3)))
    sumCross = f64x2.add(sumCross, f64x2.promote_low_f32x4(v128.shuffle<f32>(cdHigh, cdHigh, 2, 3, 2, 3)))
    v128.store(to, sumPowers, 96)
    v128.store(to, sumCross, 112)
    to += 4 * row
  }
  let at = out
  const end = out + plane
  for (let near = reach; at < end; near += 4 * REACH_BYTES, at += VECTOR) {
    const r0 = meanRow(prefix, near)
    const r1 = meanRow(prefix, near + REACH_BYTES)
    const r2 = meanRow(prefix, near + 2 * REACH_BYTES)
    const r3 = meanRow(prefix, near + 3 * REACH_BYTES)
    const low01 = v128.shuffle<f32>(r0, r1, 0, 4, 1, 5)
    const high01 = v128.shuffle<f32>(r0, r1, 2, 6, 3, 7)
    const low23 = v128.shuffle<f32>(r2, r3, 0, 4, 1, 5)
    const high23 = v128.shuffle<f32>(r2, r3, 2, 6, 3, 7)
    v128.store(at, v128.shuffle<f32>(low01, low23, 0, 1, 4, 5))
    v128.store(at + plane, v128.shuffle<f32>(low01, low23, 2, 3, 6, 7))
    v128.store(at + 2 * plane, v128.shuffle<f32>(high01, high23, 0, 1, 4, 5))
    v128.store(at + 3 * plane, v128.shuffle<f32>(high01, high23, 2, 3, 6, 7))
  }
}

// One bin's four means, in float32.
function meanRow(prefix: usize, reach: usize): v128 {
  const low = prefix + usize(load<i32>(reach)) * 4 * DOUBLE
  const high = prefix + usize(load<i32>(reach, 4)) * 4 * DOUBLE
  const share = v128.load64_splat(reach, 8)
  const powers = f64x2.mul(share, f64x2.sub(v128.load(high), v128.load(low)))
  const cross = f64x2.mul(share, f64x2.sub(v128.load(high, 16), v128.load(low, 16)))
  return v128.shuffle<f32>(f32x4.demote_f64x2_zero(powers), f32x4.demote_f64x2_zero(cross), 0, 1, 4, 5)
}

/** The same average for one plane of floats. `prefix` is room for stride + 1 doubles. */
export function upmixAverageBinsOfOne(plane: usize, out: usize, stride: i32, reach: usize, prefix: usize): void {
  let sum: f64 = 0
  store<f64>(prefix, 0)
  for (let b = 0; b < stride; b++) {
    sum += f64(load<f32>(plane + usize(b) * FLOAT))
    store<f64>(prefix + usize(b + 1) * DOUBLE, sum)
  }
  for (let b = 0; b < stride; b++) {
    const near = reach + usize(b) * REACH_BYTES
    const low = load<f64>(prefix + usize(load<i32>(near)) * DOUBLE)
    const high = load<f64>(prefix + usize(load<i32>(near, 4)) * DOUBLE)
    store<f32>(out + usize(b) * FLOAT, f32((high - low) * load<f64>(near, 8)))
  }
}

/**
 * One step of the Hann-weighted mean over frames, for `count` neighbouring floats of a frame. Because the window is one
 * period long, the cosine at the entering frame is the cosine at the leaving one, and three running sums suffice:
 * plain, times cosine, times sine. `sums` is three planes of `count` doubles. `share` = 1 / period.
 */
export function upmixHannStep(
  entering: usize,
  leaving: usize,
  sums: usize,
  out: usize,
  count: i32,
  enterCos: f64,
  enterSin: f64,
  centreCos: f64,
  centreSin: f64,
  share: f64,
): void {
  const plane = usize(count) * DOUBLE
  const c = f64x2.splat(enterCos)
  const s = f64x2.splat(enterSin)
  const one = f64x2.splat(share)
  const cosOut = f64x2.splat(centreCos * share)
  const sinOut = f64x2.splat(centreSin * share)
  const end = usize(count) * FLOAT
  for (let i: usize = 0; i < end; i += VECTOR) {
    const fresh = v128.load(entering + i)
    const stale = v128.load(leaving + i)
    const stepLow = f64x2.sub(f64x2.promote_low_f32x4(fresh), f64x2.promote_low_f32x4(stale))
    const stepHigh = f64x2.sub(
      f64x2.promote_low_f32x4(v128.shuffle<f32>(fresh, fresh, 2, 3, 2, 3)),
      f64x2.promote_low_f32x4(v128.shuffle<f32>(stale, stale, 2, 3, 2, 3)),
    )
    const at = sums + 2 * i
    const plainLow = f64x2.add(v128.load(at), stepLow)
    const plainHigh = f64x2.add(v128.load(at, 16), stepHigh)
    v128.store(at, plainLow)
    v128.store(at, plainHigh, 16)
    const cosLow = f64x2.add(v128.load(at + plane), f64x2.mul(c, stepLow))
    const cosHigh = f64x2.add(v128.load(at + plane, 16), f64x2.mul(c, stepHigh))
    v128.store(at + plane, cosLow)
    v128.store(at + plane, cosHigh, 16)
    const sinLow = f64x2.add(v128.load(at + 2 * plane), f64x2.mul(s, stepLow))
    const sinHigh = f64x2.add(v128.load(at + 2 * plane, 16), f64x2.mul(s, stepHigh))
    v128.store(at + 2 * plane, sinLow)
    v128.store(at + 2 * plane, sinHigh, 16)
    const low = f64x2.add(f64x2.mul(one, plainLow), f64x2.add(f64x2.mul(cosOut, cosLow), f64x2.mul(sinOut, sinLow)))
    const high = f64x2.add(f64x2.mul(one, plainHigh), f64x2.add(f64x2.mul(cosOut, cosHigh), f64x2.mul(sinOut, sinHigh)))
    v128.store(out + i, v128.shuffle<f32>(f32x4.demote_f64x2_zero(low), f32x4.demote_f64x2_zero(high), 0, 1, 4, 5))
  }
}
