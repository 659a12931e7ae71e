// The weights of the upmix per frame and bin, and the way back to time. All powers of a bin are divided by their sum
// first, so that no level from the noise of a 24-bit word to far over full scale leaves the range of float32.

const FLOAT: usize = 4
const DOUBLE: usize = 8
const VECTOR: usize = 16

/** Below this power (about -200 dBFS) a bin counts as empty. */
const EMPTY: f32 = 1e-20
/** Keeps the quotients of smoothed powers of very different frames inside float32. */
const FAR: f32 = 1e15
/** @source our regularisers: relative to the common power, and absolute for a transform of 1024 */
const COMMON_LEAK: f32 = 1e-3
/** How much of the common power speaks for taking equally from both sides, and how fast that ends where they differ. */
const EVENNESS: f32 = 0.3
const UNEVENNESS: f32 = 4
const DETERMINANT_LEAST: f32 = 1e-9
/** How fast the fill of the centre ends where the powers of left and right differ: at half their sum. */
const FILL_WITHDRAWAL: f32 = 2
/** Keeps a division by zero away. */
const TINY: f32 = 1e-30

/**
 * The smaller eigenvalue of [[p, x], [x, q]] by way of the determinant, exact also where it is a tiny part of p + q.
 * `half` is 0.5 in every lane: a constant would be built anew in every turn of the loop.
 */
function smallerEigenvalue(p: v128, q: v128, crossSquared: v128, half: v128, tiny: v128): v128 {
  const mean = f32x4.mul(half, f32x4.add(p, q))
  const apart = f32x4.mul(half, f32x4.sub(p, q))
  const larger = f32x4.add(mean, f32x4.sqrt(f32x4.add(f32x4.mul(apart, apart), crossSquared)))
  const determinant = f32x4.max(f32x4.sub(p, p), f32x4.sub(f32x4.mul(p, q), crossSquared))
  return f32x4.div(determinant, f32x4.add(larger, tiny))
}

/**
 * Centre weights of a pair of transforms and the centre's two spectra.
 * `centre`: smoothed |L|^2, |R|^2, Re LR* (planes of `stride` floats); `floor`: the same, smoothed longer and over bins.
 * `first`, `second`: the two spectra; `firstOut`, `secondOut` receive re and im of the centre.
 * `fillBand`: how far each bin may be filled, `fill`: 0 .. 1, how much now: moves the weights towards those of a sound that
 * stands in the middle, docs/decisions/0037.
 * `ratio` receives 2 D / (P_L + P_R); `bandSums` two doubles: the sums of 2 D and of P_L + P_R weighted by the plane `band`.
 * `unity` is 1: constants made from it stay in registers.
 */
export function upmixCentre(
  centre: usize,
  floor: usize,
  band: usize,
  fillBand: usize,
  first: usize,
  second: usize,
  firstOut: usize,
  secondOut: usize,
  ratio: usize,
  bandSums: usize,
  stride: i32,
  diffuseReject: f32,
  share: f32,
  reach: f32,
  fill: f32,
  leak: f32,
  unity: f32,
): void {
  const plane = usize(stride) * FLOAT
  const zero = f32x4.splat(unity - unity)
  const one = f32x4.splat(unity)
  const half = f32x4.splat(0.5 * unity)
  const tiny = f32x4.splat(TINY * unity)
  const far = f32x4.splat(FAR * unity)
  const empty = f32x4.splat(EMPTY * unity)
  const commonLeak = f32x4.splat(COMMON_LEAK * unity)
  const evenness = f32x4.splat(EVENNESS * unity)
  const unevenness = f32x4.splat(UNEVENNESS * unity)
  const eta = f32x4.splat(diffuseReject)
  // k C = a L + b R makes the centre of BS.775's fold-down weight; 1/k = sqrt 2.
  const gain = f32x4.splat(share * f32(Math.SQRT2))
  const leakage = f32x4.splat(leak)
  const middle = f32x4.splat(share * f32(Math.SQRT1_2))
  const filling = f32x4.splat(fill)
  const withdrawal = f32x4.splat(FILL_WITHDRAWAL * unity)
  const fills = fill > 0
  const hasWindow = reach < 1
  let commonSum = zero
  let bandSum = zero
  for (let k: usize = 0; k < plane; k += VECTOR) {
    const p = f32x4.max(zero, v128.load(centre + k))
    const q = f32x4.max(zero, v128.load(centre + k + plane))
    const sum = f32x4.max(empty, f32x4.add(p, q))
    const scale = f32x4.div(one, sum)
    const pl = f32x4.mul(p, scale)
    const pr = f32x4.mul(q, scale)
    const x = f32x4.mul(v128.load(centre + k + 2 * plane), scale)
    const fp = f32x4.min(far, f32x4.mul(f32x4.max(zero, v128.load(floor + k)), scale))
    const fq = f32x4.min(far, f32x4.mul(f32x4.max(zero, v128.load(floor + k + plane)), scale))
    const fx = f32x4.min(far, f32x4.mul(f32x4.abs(v128.load(floor + k + 2 * plane)), scale))
    const ambience = smallerEigenvalue(fp, fq, f32x4.mul(fx, fx), half, tiny)
    const quieter = f32x4.sub(f32x4.min(pl, pr), f32x4.mul(eta, ambience))
    const common = f32x4.max(zero, f32x4.min(x, quieter))
    const e = f32x4.add(f32x4.mul(commonLeak, common), f32x4.mul(leakage, scale))
    const leftOnly = f32x4.add(f32x4.sub(pl, common), e)
    const rightOnly = f32x4.add(f32x4.sub(pr, common), e)
    const twice = f32x4.add(common, common)
    const apart = f32x4.abs(f32x4.sub(pl, pr))
    const ownOfBoth = f32x4.add(leftOnly, rightOnly)
    const denominator = f32x4.add(f32x4.mul(common, ownOfBoth), f32x4.mul(leftOnly, rightOnly))
    const even = f32x4.mul(evenness, common)
    const pull = f32x4.div(f32x4.mul(even, even), f32x4.add(f32x4.add(even, f32x4.mul(unevenness, apart)), tiny))
    const parts = f32x4.add(ownOfBoth, f32x4.add(pull, pull))
    let weight = f32x4.div(f32x4.mul(gain, f32x4.mul(common, ownOfBoth)), f32x4.mul(denominator, parts))
    const window = hasWindow ? reachWindow(apart, reach) : one
    if (hasWindow) weight = f32x4.mul(weight, window)
    // The louder side carries more than the common sound: less is taken from it, by the eighth root of the power ratio.
    const louder = f32x4.max(pl, pr)
    const held = f32x4.sqrt(f32x4.sqrt(f32x4.sqrt(f32x4.div(f32x4.min(pl, pr), louder))))
    const fromLeft = v128.bitselect(held, one, f32x4.gt(pl, pr))
    const fromRight = v128.bitselect(held, one, f32x4.gt(pr, pl))
    let a = f32x4.mul(f32x4.mul(weight, fromLeft), f32x4.add(rightOnly, pull))
    let b = f32x4.mul(f32x4.mul(weight, fromRight), f32x4.add(leftOnly, pull))
    if (fills) {
      const near = f32x4.max(zero, f32x4.sub(one, f32x4.mul(withdrawal, apart)))
      const part = f32x4.mul(f32x4.mul(filling, v128.load(fillBand + k)), near)
      const target = f32x4.mul(middle, window)
      a = f32x4.add(a, f32x4.mul(part, f32x4.sub(target, a)))
      b = f32x4.add(b, f32x4.mul(part, f32x4.sub(target, b)))
    }
    v128.store(ratio + k, twice)
    const inBand = f32x4.mul(sum, v128.load(band + k))
    bandSum = f32x4.add(bandSum, inBand)
    commonSum = f32x4.add(commonSum, f32x4.mul(inBand, twice))
    weigh(first + k, firstOut + k, plane, a, b)
    weigh(second + k, secondOut + k, plane, a, b)
  }
  store<f64>(bandSums, laneSum(commonSum))
  store<f64>(bandSums, laneSum(bandSum), 8)
}

// a L + b R, real weights
function weigh(from: usize, to: usize, plane: usize, a: v128, b: v128): void {
  v128.store(to, f32x4.add(f32x4.mul(a, v128.load(from)), f32x4.mul(b, v128.load(from + 2 * plane))))
  v128.store(to + plane, f32x4.add(f32x4.mul(a, v128.load(from + plane)), f32x4.mul(b, v128.load(from + 3 * plane))))
}

function laneSum(x: v128): f64 {
  const low = f64(f32x4.extract_lane(x, 0)) + f64(f32x4.extract_lane(x, 1))
  return low + (f64(f32x4.extract_lane(x, 2)) + f64(f32x4.extract_lane(x, 3)))
}

// 1 below 0.8 reach, then half a cosine down to 0 over 0.25: 0.5 + 0.5 cos(pi x), x in 0 .. 1.
function reachWindow(u: v128, reach: f32): v128 {
  const x = f32x4.mul(f32x4.sub(u, f32x4.splat(0.8 * reach)), f32x4.splat(4))
  const clipped = f32x4.min(f32x4.splat(1), f32x4.max(f32x4.splat(0), x))
  const y = f32x4.mul(f32x4.sub(clipped, f32x4.splat(0.5)), f32x4.splat(f32(Math.PI)))
  const yy = f32x4.mul(y, y)
  // sin y by its Taylor series to y^11: 6e-8 at pi/2
  let sum = f32x4.splat(f32(-1.0 / 39916800.0))
  sum = f32x4.add(f32x4.mul(sum, yy), f32x4.splat(f32(1.0 / 362880.0)))
  sum = f32x4.add(f32x4.mul(sum, yy), f32x4.splat(f32(-1.0 / 5040.0)))
  sum = f32x4.add(f32x4.mul(sum, yy), f32x4.splat(f32(1.0 / 120.0)))
  sum = f32x4.add(f32x4.mul(sum, yy), f32x4.splat(f32(-1.0 / 6.0)))
  sum = f32x4.add(f32x4.mul(sum, yy), f32x4.splat(1))
  return f32x4.max(f32x4.splat(0), f32x4.sub(f32x4.splat(0.5), f32x4.mul(f32x4.splat(0.5), f32x4.mul(y, sum))))
}

/**
 * Surround weights of a pair of transforms and the spectra of Ls and Rs.
 * `powers`: the smoothed power frame of four planes; `fine`: the share of common power averaged over bins;
 * `band`: how far each bin is ducked at most (planes of `stride` floats); `duck`: 0 .. 1, how much now, from a share of
 * common power of `duckFrom` on and fully `duckRange` above it; `narrowing`: how much of the difference of Ls and Rs is
 * left out, docs/decisions/0043.
 * `firstOut` and `secondOut` receive re and im of Ls, re and im of Rs. `unity` is 1, as for the centre.
 */
export function upmixSurrounds(
  powers: usize,
  fine: usize,
  band: usize,
  first: usize,
  second: usize,
  firstOut: usize,
  secondOut: usize,
  stride: i32,
  duck: f32,
  duckFrom: f32,
  duckRange: f32,
  narrowing: f32,
  strictness: f32,
  directRejection: f32,
  share: f32,
  leak: f32,
  unity: f32,
): void {
  const plane = usize(stride) * FLOAT
  const zero = f32x4.splat(unity - unity)
  const one = f32x4.splat(unity)
  const half = f32x4.splat(0.5 * unity)
  const tiny = f32x4.splat(TINY * unity)
  const empty = f32x4.splat(EMPTY * unity)
  const leastShare = f32x4.splat(DETERMINANT_LEAST * unity)
  const speechFloor = f32x4.splat(duckFrom * unity)
  const leakage = f32x4.splat(leak)
  const amount = f32x4.splat(share)
  const speechRange = f32x4.splat(duckRange * unity)
  const duckSlope = f32x4.splat(duck / duckRange)
  const rejection = f32x4.splat(directRejection)
  const own = f32x4.splat(unity - 0.5 * narrowing)
  const other = f32x4.splat(0.5 * narrowing)
  const isRoot = strictness === 0.5
  for (let k: usize = 0; k < plane; k += VECTOR) {
    const p = f32x4.max(zero, v128.load(powers + k))
    const q = f32x4.max(zero, v128.load(powers + k + plane))
    const scale = f32x4.div(one, f32x4.max(empty, f32x4.add(p, q)))
    const pl = f32x4.mul(p, scale)
    const pr = f32x4.mul(q, scale)
    const xr = f32x4.mul(v128.load(powers + k + 2 * plane), scale)
    const xi = f32x4.mul(v128.load(powers + k + 3 * plane), scale)
    const crossSquared = f32x4.add(f32x4.mul(xr, xr), f32x4.mul(xi, xi))
    const product = f32x4.mul(pl, pr)
    const apart = f32x4.mul(half, f32x4.sub(pl, pr))
    // The larger eigenvalue of two powers that sum to 1; the smaller one is the determinant over it.
    const larger = f32x4.add(f32x4.add(half, f32x4.sqrt(f32x4.add(f32x4.mul(apart, apart), crossSquared))), tiny)
    const smallerTimesLarger = f32x4.max(zero, f32x4.sub(product, crossSquared))
    const absolute = f32x4.mul(leakage, scale)
    // sqrt(P_L P_R) / (sqrt(P_L P_R) + sqrt(P_L P_R - |X|^2)) of the direct sound is cancelled: what is left of Ls and Rs
    // has nothing in common, neither in phase nor out of it.
    const mean = f32x4.sqrt(product)
    const remaining = f32x4.sqrt(smallerTimesLarger)
    const nu = f32x4.div(f32x4.mul(rejection, mean), f32x4.add(f32x4.add(mean, remaining), tiny))
    const nuSquared = f32x4.mul(nu, nu)
    const determinant = f32x4.add(
      f32x4.max(f32x4.sub(product, f32x4.mul(nuSquared, crossSquared)), f32x4.mul(leastShare, product)),
      f32x4.add(f32x4.mul(absolute, absolute), tiny),
    )
    const inverse = f32x4.div(one, f32x4.mul(determinant, larger))
    const quotient = f32x4.mul(smallerTimesLarger, inverse)
    const smaller = f32x4.mul(quotient, determinant)
    const psi = f32x4.min(one, f32x4.add(smaller, smaller))
    const gate = isRoot ? f32x4.sqrt(psi) : power(psi, strictness)
    const speech = f32x4.min(speechRange, f32x4.max(zero, f32x4.sub(v128.load(fine + k), speechFloor)))
    const open = f32x4.sub(one, f32x4.mul(f32x4.mul(duckSlope, v128.load(band + k)), speech))
    const weight = f32x4.mul(f32x4.mul(f32x4.mul(amount, gate), open), quotient)
    const toLeft = f32x4.mul(weight, pr)
    const toRight = f32x4.mul(weight, pl)
    const steer = f32x4.mul(weight, nu)
    const yr = f32x4.mul(steer, xr)
    const yi = f32x4.mul(steer, xi)
    steerPair(first + k, firstOut + k, plane, toLeft, toRight, yr, yi, own, other)
    steerPair(second + k, secondOut + k, plane, toLeft, toRight, yr, yi, own, other)
  }
}

// Ls = w (P_R L - Y R), Rs = w (P_L R - conj(Y) L), then each of them as `own` times itself and `other` times the other.
function steerPair(
  from: usize,
  to: usize,
  plane: usize,
  toLeft: v128,
  toRight: v128,
  yr: v128,
  yi: v128,
  own: v128,
  other: v128,
): void {
  const lr = v128.load(from)
  const li = v128.load(from + plane)
  const rr = v128.load(from + 2 * plane)
  const ri = v128.load(from + 3 * plane)
  const lsr = f32x4.add(f32x4.sub(f32x4.mul(toLeft, lr), f32x4.mul(yr, rr)), f32x4.mul(yi, ri))
  const lsi = f32x4.sub(f32x4.sub(f32x4.mul(toLeft, li), f32x4.mul(yr, ri)), f32x4.mul(yi, rr))
  const rsr = f32x4.sub(f32x4.sub(f32x4.mul(toRight, rr), f32x4.mul(yr, lr)), f32x4.mul(yi, li))
  const rsi = f32x4.add(f32x4.sub(f32x4.mul(toRight, ri), f32x4.mul(yr, li)), f32x4.mul(yi, lr))
  v128.store(to, f32x4.add(f32x4.mul(own, lsr), f32x4.mul(other, rsr)))
  v128.store(to + plane, f32x4.add(f32x4.mul(own, lsi), f32x4.mul(other, rsi)))
  v128.store(to + 2 * plane, f32x4.add(f32x4.mul(own, rsr), f32x4.mul(other, lsr)))
  v128.store(to + 3 * plane, f32x4.add(f32x4.mul(own, rsi), f32x4.mul(other, lsi)))
}

// base^exponent for base in 0 .. 1, relative error below 3e-6; 0^0 = 1.
function power(base: v128, exponent: f32): v128 {
  const positive = f32x4.max(base, f32x4.splat(1e-30))
  // log2: exponent bits, and ln of the mantissa in sqrt(1/2) .. sqrt 2 as 2 artanh((m - 1) / (m + 1))
  const bits = i32x4.sub(positive, i32x4.splat(0x3f3504f3))
  const whole = i32x4.shr_s(bits, 23)
  const mantissa = i32x4.sub(positive, i32x4.shl(whole, 23))
  const z = f32x4.div(f32x4.sub(mantissa, f32x4.splat(1)), f32x4.add(mantissa, f32x4.splat(1)))
  const zz = f32x4.mul(z, z)
  let series = f32x4.splat(f32(1.0 / 9.0))
  series = f32x4.add(f32x4.mul(series, zz), f32x4.splat(f32(1.0 / 7.0)))
  series = f32x4.add(f32x4.mul(series, zz), f32x4.splat(f32(1.0 / 5.0)))
  series = f32x4.add(f32x4.mul(series, zz), f32x4.splat(f32(1.0 / 3.0)))
  series = f32x4.add(f32x4.mul(series, zz), f32x4.splat(1))
  const log2e2: f32 = 2.8853900817779268
  const logarithm = f32x4.add(f32x4.convert_i32x4_s(whole), f32x4.mul(f32x4.splat(log2e2), f32x4.mul(z, series)))
  const y = f32x4.max(f32x4.splat(-120), f32x4.mul(f32x4.splat(exponent), logarithm))
  // exp2: whole part into the exponent bits, the rest by the series of e^(y ln 2) to the seventh power
  const rounded = f32x4.nearest(y)
  const t = f32x4.mul(f32x4.sub(y, rounded), f32x4.splat(0.6931471805599453))
  let result = f32x4.splat(f32(1.0 / 5040.0))
  result = f32x4.add(f32x4.mul(result, t), f32x4.splat(f32(1.0 / 720.0)))
  result = f32x4.add(f32x4.mul(result, t), f32x4.splat(f32(1.0 / 120.0)))
  result = f32x4.add(f32x4.mul(result, t), f32x4.splat(f32(1.0 / 24.0)))
  result = f32x4.add(f32x4.mul(result, t), f32x4.splat(f32(1.0 / 6.0)))
  result = f32x4.add(f32x4.mul(result, t), f32x4.splat(0.5))
  result = f32x4.add(f32x4.mul(result, t), f32x4.splat(1))
  result = f32x4.add(f32x4.mul(result, t), f32x4.splat(1))
  const turned = i32x4.shl(i32x4.add(i32x4.trunc_sat_f32x4_s(rounded), i32x4.splat(127)), 23)
  return f32x4.mul(result, turned)
}

/**
 * Turns the spectra of a surround pair by +90 and -90 degrees (Ls leads, Rs lags), in place; bins 0 and n/2 become 0.
 */
export function upmixTurnPair(pair: usize, stride: i32): void {
  const plane = usize(stride) * FLOAT
  for (let k: usize = 0; k < plane; k += VECTOR) {
    const leftRe = v128.load(pair + k)
    const leftIm = v128.load(pair + k + plane)
    const rightRe = v128.load(pair + k + 2 * plane)
    const rightIm = v128.load(pair + k + 3 * plane)
    v128.store(pair + k, f32x4.neg(leftIm))
    v128.store(pair + k + plane, leftRe)
    v128.store(pair + k + 2 * plane, rightIm)
    v128.store(pair + k + 3 * plane, f32x4.neg(rightRe))
  }
}

/**
 * Joins the half spectra of two real signals to the spectrum of first + i second, length n; `re` and `im` have room for
 * n + 4 floats. What is imaginary in bins 0 and n/2 belongs to no real signal and is dropped.
 */
export function upmixJoinSpectra(first: usize, second: usize, stride: i32, length: i32, re: usize, im: usize): void {
  const plane = usize(stride) * FLOAT
  const nyquist = usize(length >> 1) * FLOAT
  const top = usize(length - 3) * FLOAT
  for (let k: usize = 0; k < nyquist; k += VECTOR) {
    const ar = v128.load(first + k)
    const ai = v128.load(first + k + plane)
    const br = v128.load(second + k)
    const bi = v128.load(second + k + plane)
    const mirrorR = f32x4.add(ar, bi)
    const mirrorI = f32x4.sub(br, ai)
    v128.store(re + top - k, v128.shuffle<f32>(mirrorR, mirrorR, 3, 2, 1, 0))
    v128.store(im + top - k, v128.shuffle<f32>(mirrorI, mirrorI, 3, 2, 1, 0))
    v128.store(re + k, f32x4.sub(ar, bi))
    v128.store(im + k, f32x4.add(ai, br))
  }
  store<f32>(re, load<f32>(first))
  store<f32>(im, load<f32>(second))
  store<f32>(re + nyquist, load<f32>(first + nyquist))
  store<f32>(im + nyquist, load<f32>(second + nyquist))
}

/** Adds `length` windowed floats to a plane of `frameCount` floats at frame `from`; what falls outside is dropped. */
export function upmixOverlapAdd(
  frame: usize,
  window: usize,
  length: i32,
  plane: usize,
  from: i32,
  frameCount: i32,
): void {
  if (from >= 0 && from + length <= frameCount) {
    const out = plane + usize(from) * FLOAT
    const end = usize(length) * FLOAT
    for (let i: usize = 0; i < end; i += VECTOR) {
      v128.store(out + i, f32x4.add(v128.load(out + i), f32x4.mul(v128.load(frame + i), v128.load(window + i))))
    }
    return
  }
  for (let i = max(0, -from); i < length && from + i < frameCount; i++) {
    const at = plane + usize(from + i) * FLOAT
    store<f32>(at, load<f32>(at) + load<f32>(frame + usize(i) * FLOAT) * load<f32>(window + usize(i) * FLOAT))
  }
}

/**
 * What remains in the fronts: l - k c - k ls and r - k c - k rs in float64; then their difference times `spread`.
 * With spread 1 the Lo/Ro fold-down of the five is the two tracks again.
 * @source ITU-R BS.775-4 Table 2 (k)
 */
export function upmixFronts(
  left: usize,
  right: usize,
  centre: usize,
  leftSurround: usize,
  rightSurround: usize,
  leftOut: usize,
  rightOut: usize,
  frameCount: i32,
  spread: f64,
): void {
  const k = Math.SQRT1_2
  for (let i = 0; i < frameCount; i++) {
    const at = usize(i) * FLOAT
    const at2 = usize(i) * DOUBLE
    const c = k * f64(load<f32>(centre + at))
    const l = load<f64>(left + at2) - c - k * f64(load<f32>(leftSurround + at))
    const r = load<f64>(right + at2) - c - k * f64(load<f32>(rightSurround + at))
    if (spread === 1) {
      store<f64>(leftOut + at2, l)
      store<f64>(rightOut + at2, r)
    } else {
      const middle = 0.5 * (l + r)
      const side = 0.5 * spread * (l - r)
      store<f64>(leftOut + at2, middle + side)
      store<f64>(rightOut + at2, middle - side)
    }
  }
}
