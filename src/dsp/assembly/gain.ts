// Gain curves: dB straight lines between ride points, and their use. The door is `dsp/gain.ts`.

const LN2: f64 = 0.6931471805599453
/** 1.5 x 2^52: added to a small whole number it leaves that number in the low bits of the sum. */
const WHOLE_NUMBER_BITS: f64 = 6755399441055744

/** Two to the powers x of two lanes, |x| <= 1000, from + - * alone: the same bits on every machine. */
function exp2x2(x: v128): v128 {
  const whole = f64x2.nearest(x)
  const y = f64x2.mul(f64x2.sub(x, whole), f64x2.splat(LN2))
  let sum = f64x2.splat(1.6059043836821613e-10)
  sum = f64x2.add(f64x2.mul(sum, y), f64x2.splat(2.08767569878681e-9))
  sum = f64x2.add(f64x2.mul(sum, y), f64x2.splat(2.505210838544172e-8))
  sum = f64x2.add(f64x2.mul(sum, y), f64x2.splat(2.755731922398589e-7))
  sum = f64x2.add(f64x2.mul(sum, y), f64x2.splat(2.7557319223985893e-6))
  sum = f64x2.add(f64x2.mul(sum, y), f64x2.splat(2.48015873015873e-5))
  sum = f64x2.add(f64x2.mul(sum, y), f64x2.splat(0.0001984126984126984))
  sum = f64x2.add(f64x2.mul(sum, y), f64x2.splat(0.001388888888888889))
  sum = f64x2.add(f64x2.mul(sum, y), f64x2.splat(0.008333333333333333))
  sum = f64x2.add(f64x2.mul(sum, y), f64x2.splat(0.041666666666666664))
  sum = f64x2.add(f64x2.mul(sum, y), f64x2.splat(0.16666666666666666))
  sum = f64x2.add(f64x2.mul(sum, y), f64x2.splat(0.5))
  sum = f64x2.add(f64x2.mul(sum, y), f64x2.splat(1))
  sum = f64x2.add(f64x2.mul(sum, y), f64x2.splat(1))
  const exponent = i64x2.add(f64x2.add(whole, f64x2.splat(WHOLE_NUMBER_BITS)), i64x2.splat(1023))
  return f64x2.mul(sum, i64x2.shl(exponent, 52))
}

/**
 * Linear gain on a straight line of the exponent: gain[i] = 2^(start + step x (first + i)), i = 0 .. count - 1.
 * Each frame is computed from the line's start, never from its neighbour, so a cut anywhere changes nothing.
 */
export function gainLine(out: usize, count: i32, start: f64, step: f64, first: f64): void {
  const starts = f64x2.splat(start)
  const steps = f64x2.splat(step)
  const both = f64x2.splat(2)
  let at = f64x2(first, first + 1)
  let i = 0
  for (; i + 2 <= count; i += 2, out += 16) {
    v128.store(out, exp2x2(f64x2.add(starts, f64x2.mul(steps, at))))
    at = f64x2.add(at, both)
  }
  if (i < count) store<f64>(out, f64x2.extract_lane(exp2x2(f64x2.add(starts, f64x2.mul(steps, at))), 0))
}

/** The same gain for every frame. */
export function gainConstant(out: usize, count: i32, gain: f64): void {
  const end = out + ((<usize>count) << 3)
  const gains = f64x2.splat(gain)
  for (; out + 16 <= end; out += 16) v128.store(out, gains)
  if (out < end) store<f64>(out, gain)
}

/** product[i] = a[i] x b[i]. */
export function gainProduct(a: usize, b: usize, count: i32, product: usize): void {
  const end = product + ((<usize>count) << 3)
  for (; product + 16 <= end; product += 16, a += 16, b += 16) {
    v128.store(product, f64x2.mul(v128.load(a), v128.load(b)))
  }
  if (product < end) store<f64>(product, load<f64>(a) * load<f64>(b))
}
