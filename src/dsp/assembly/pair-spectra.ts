// What two tracks are to each other, bin by bin, in double precision. A bin is four floats: power of the left track, power
// of the right one, real and imaginary part of left times the conjugate of right; so a sum over bins has two lanes twice.
// Every sum is taken in the order of the scalar twin.

const BIN_BYTES: usize = 16
const LN2: f64 = 0.6931471805599453
const SERIES_TERMS: i32 = 14
/** Bins whose logarithms are taken as one, by their product. */
const PRODUCT_BINS: i32 = 8

function low(bin: v128): v128 {
  return f64x2.promote_low_f32x4(bin)
}

function high(bin: v128): v128 {
  return f64x2.promote_low_f32x4(v128.shuffle<f32>(bin, bin, 2, 3, 2, 3))
}

function swapped(pair: v128): v128 {
  return v128.shuffle<f64>(pair, pair, 1, 0)
}

/** Multiplies `count` frames of two tracks by a window. */
export function pairWindow(left: usize, right: usize, window: usize, count: i32, re: usize, im: usize): void {
  const end = (<usize>count) << 2
  let at: usize = 0
  for (; at + 16 <= end; at += 16) {
    const weight = v128.load(window + at)
    v128.store(re + at, f32x4.mul(v128.load(left + at), weight))
    v128.store(im + at, f32x4.mul(v128.load(right + at), weight))
  }
  for (; at < end; at += 4) {
    const weight = load<f32>(window + at)
    store<f32>(re + at, load<f32>(left + at) * weight)
    store<f32>(im + at, load<f32>(right + at) * weight)
  }
}

/** Two neighbouring floats as two doubles. */
function two(at: usize): v128 {
  return f64x2.promote_low_f32x4(v128.load64_zero(at))
}

/**
 * Parts the transform of left + j right into the bins from `first` up to `end`, two at a time; `first` is 1 at least. An odd
 * number of bins writes one more.
 */
export function pairPart(re: usize, im: usize, length: i32, first: i32, end: i32, bins: usize): void {
  const half = f64x2.splat(0.5)
  for (let bin = first; bin < end; bin += 2) {
    const at = (<usize>bin) << 2
    // The mirrored bins stand the other way round.
    const mirror = (<usize>(length - bin - 1)) << 2
    const hereRe = two(re + at)
    const hereIm = two(im + at)
    const thereRe = swapped(two(re + mirror))
    const thereIm = swapped(two(im + mirror))
    const leftRe = f64x2.mul(half, f64x2.add(hereRe, thereRe))
    const leftIm = f64x2.mul(half, f64x2.sub(hereIm, thereIm))
    const rightRe = f64x2.mul(half, f64x2.add(hereIm, thereIm))
    const rightIm = f64x2.mul(half, f64x2.sub(thereRe, hereRe))
    const left = f64x2.add(f64x2.mul(leftRe, leftRe), f64x2.mul(leftIm, leftIm))
    const right = f64x2.add(f64x2.mul(rightRe, rightRe), f64x2.mul(rightIm, rightIm))
    const crossRe = f64x2.add(f64x2.mul(leftRe, rightRe), f64x2.mul(leftIm, rightIm))
    const crossIm = f64x2.sub(f64x2.mul(leftIm, rightRe), f64x2.mul(leftRe, rightIm))
    const powers = v128.shuffle<f32>(f32x4.demote_f64x2_zero(left), f32x4.demote_f64x2_zero(right), 0, 4, 1, 5)
    const cross = v128.shuffle<f32>(f32x4.demote_f64x2_zero(crossRe), f32x4.demote_f64x2_zero(crossIm), 0, 4, 1, 5)
    const out = bins + <usize>bin * BIN_BYTES
    v128.store(out, v128.shuffle<f32>(powers, cross, 0, 1, 4, 5))
    v128.store(out, v128.shuffle<f32>(powers, cross, 2, 3, 6, 7), BIN_BYTES)
  }
}

/** Adds the bins of each group to its four sums (float64); group g holds the bins from edge g up to edge g + 1. */
export function pairSumGroups(bins: usize, edges: usize, groups: i32, sums: usize): void {
  for (let group = 0; group < groups; group++) {
    const edge = edges + ((<usize>group) << 2)
    const out = sums + ((<usize>group) << 5)
    const end = bins + <usize>load<i32>(edge, 4) * BIN_BYTES
    let powers = v128.load(out)
    let cross = v128.load(out, 16)
    for (let at = bins + <usize>load<i32>(edge) * BIN_BYTES; at < end; at += BIN_BYTES) {
      const bin = v128.load(at)
      powers = f64x2.add(powers, low(bin))
      cross = f64x2.add(cross, high(bin))
    }
    v128.store(out, powers)
    v128.store(out, cross, 16)
  }
}

/**
 * Sums the powers of the bins from `first` up to `end` and finds the strongest one, the first of equals, beginning with bin
 * `first` + 2: sum left, right, bin left, right, as float64.
 */
export function pairStrongest(bins: usize, first: i32, end: i32, out: usize): void {
  let total = f64x2.splat(0)
  let place = f64x2.splat(<f64>(first + 2))
  let most = low(v128.load(bins + <usize>(first + 2) * BIN_BYTES))
  for (let bin = first; bin < end; bin++) {
    const powers = low(v128.load(bins + <usize>bin * BIN_BYTES))
    total = f64x2.add(total, powers)
    const isMore = f64x2.gt(powers, most)
    most = v128.bitselect(powers, most, isMore)
    place = v128.bitselect(f64x2.splat(<f64>bin), place, isMore)
  }
  v128.store(out, total)
  v128.store(out, place, 16)
}

/** Logarithms to base two as `domain/elementary.ts` takes them, to the bit; -Infinity at 0. */
function log2(x: v128): v128 {
  const bits = v128.and(x, i64x2.splat(0x000fffffffffffff))
  let mantissa = v128.or(bits, i64x2.splat(0x3ff0000000000000))
  const biased = i64x2.shr_u(x, 52)
  let exponent = f64x2.sub(
    f64x2.replace_lane(f64x2.splat(<f64>i64x2.extract_lane(biased, 0)), 1, <f64>i64x2.extract_lane(biased, 1)),
    f64x2.splat(1023),
  )
  const isLarge = f64x2.gt(mantissa, f64x2.splat(1.4142135623730951))
  mantissa = v128.bitselect(f64x2.mul(mantissa, f64x2.splat(0.5)), mantissa, isLarge)
  exponent = v128.bitselect(f64x2.add(exponent, f64x2.splat(1)), exponent, isLarge)
  const z = f64x2.div(f64x2.sub(mantissa, f64x2.splat(1)), f64x2.add(mantissa, f64x2.splat(1)))
  const zz = f64x2.mul(z, z)
  let sum = f64x2.splat(0)
  for (let n = 2 * SERIES_TERMS + 1; n >= 1; n -= 2) {
    sum = f64x2.add(f64x2.splat(1 / <f64>n), f64x2.mul(zz, sum))
  }
  const logs = f64x2.add(exponent, f64x2.div(f64x2.mul(f64x2.mul(f64x2.splat(2), z), sum), f64x2.splat(LN2)))
  return v128.bitselect(f64x2.splat(-Infinity), logs, f64x2.eq(x, f64x2.splat(0)))
}

/** Sums of the powers of 8 `groups` bins from `first` on, and of their logarithms to base two: left, right of each. */
export function pairLogarithms(bins: usize, first: i32, groups: i32, out: usize): void {
  let sum = f64x2.splat(0)
  let logs = f64x2.splat(0)
  let at = bins + <usize>first * BIN_BYTES
  for (let group = 0; group < groups; group++) {
    let product = f64x2.splat(1)
    for (let index = 0; index < PRODUCT_BINS; index++, at += BIN_BYTES) {
      const powers = low(v128.load(at))
      sum = f64x2.add(sum, powers)
      product = f64x2.mul(product, powers)
    }
    logs = f64x2.add(logs, log2(product))
  }
  v128.store(out, sum)
  v128.store(out, logs, 16)
}

/**
 * Adds the bins from `first` up to `end` to what a correlation by lag of the right track is made from: the conjugate of
 * the cross spectrum, at `white` with every bin counting the same and at `plain` as it is (two float64 a bin), and to the
 * two `powers`.
 */
export function pairAddCross(bins: usize, first: i32, end: i32, white: usize, plain: usize, powers: usize): void {
  const conjugate = f64x2.replace_lane(f64x2.splat(1), 1, -1)
  const least = f64x2.splat(1e-20)
  const one = f64x2.splat(1)
  let power = v128.load(powers)
  for (let bin = first; bin < end; bin++) {
    const at = (<usize>bin) << 4
    const each = v128.load(bins + at)
    const cross = f64x2.mul(high(each), conjugate)
    const squares = f64x2.mul(cross, cross)
    const size = f64x2.sqrt(f64x2.add(squares, swapped(squares)))
    const scale = f64x2.div(one, f64x2.add(size, least))
    v128.store(white + at, f64x2.add(v128.load(white + at), f64x2.mul(cross, scale)))
    v128.store(plain + at, f64x2.add(v128.load(plain + at), cross))
    power = f64x2.add(power, low(each))
  }
  v128.store(powers, power)
}

/** Joins three such spectra (`a`, `b`, `c`, two float64 a bin) and scales them. */
export function pairJoin(a: usize, b: usize, c: usize, first: i32, end: i32, scale: f64, joined: usize): void {
  const factor = f64x2.splat(scale)
  const last = (<usize>end) << 4
  for (let at = (<usize>first) << 4; at < last; at += 16) {
    const sum = f64x2.add(f64x2.add(v128.load(a + at), v128.load(b + at)), v128.load(c + at))
    v128.store(joined + at, f64x2.mul(factor, sum))
  }
}

/** Packs two spectra of real signals (two float64 a bin) into one complex spectrum; bins beside them stay as they are. */
export function pairPack(one: usize, two: usize, length: i32, first: i32, end: i32, re: usize, im: usize): void {
  for (let bin = first; bin < end; bin++) {
    const at = (<usize>bin) << 4
    const oneRe = load<f64>(one + at)
    const oneIm = load<f64>(one + at, 8)
    const twoRe = load<f64>(two + at)
    const twoIm = load<f64>(two + at, 8)
    const here = (<usize>bin) << 2
    const mirror = (<usize>(length - bin)) << 2
    store<f32>(re + here, <f32>(oneRe - twoIm))
    store<f32>(im + here, <f32>(oneIm + twoRe))
    store<f32>(re + mirror, <f32>(oneRe + twoIm))
    store<f32>(im + mirror, <f32>(twoRe - oneIm))
  }
}
