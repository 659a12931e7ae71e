// Decoding of Lt/Rt: from the smoothed powers of both tracks to the weights of centre and surrounds, and the words of the
// fronts. A spectrum and a power frame are four planes of `stride` floats, as in upmix-spectra.

const FLOAT: usize = 4
const VECTOR: usize = 16

/** Below this power (about -200 dBFS) a bin counts as empty. */
const EMPTY: f32 = 1e-20
/** Each of the four sounds is thought to have this share of a bin at least: what keeps the separation finite (103 dB). */
const LEAK: f32 = 1e-5
/**
 * Two sounds on one pair of directions leave chance on the other: as much of it in phase or level as in quadrature, which
 * nothing else fills. Share of a direction against quadrature up to which it is chance, and from which it is a direction.
 */
const CHANCE: f32 = 0.6
const DIRECTION: f32 = 0.82
/** What chance leaves on each side of a direction against what is in quadrature: half is expected, more is on the safe side. */
const CHANCE_EACH: f32 = 0.9
/** Presence below which none of the four is preferred. */
const UNSURE: f32 = 1e-3
/** Coherence from which a bin in quadrature begins to count as one sound between centre and surround; 0.3 above, wholly. */
const ONE_SOUND: f32 = 0.6
const ONE_SOUND_RANGE: f32 = 0.3
/** Coherence in opposite phase from which a level difference parts the surrounds; 0.15 above it, wholly. */
const SIDE: f32 = 0.8
const SIDE_RANGE: f32 = 0.15

function clip01(x: v128): v128 {
  return f32x4.max(f32x4.splat(0), f32x4.min(f32x4.splat(1), x))
}

/** clip((x - from) / range) to 0 .. 1 */
function rise(x: v128, from: f32, range: f32): v128 {
  return clip01(f32x4.mul(f32x4.splat(1 / range), f32x4.sub(x, f32x4.splat(from))))
}

/**
 * What a smoothed power frame `mean` tells about its neighbourhood, to be averaged: with s the power of both tracks, d
 * their difference and x twice the real part of their cross power: s, d^2/s, x^2/s, d in `out`, and four planes further
 * x, (d > 0) d^2/s, (x > 0) x^2/s, y^2/s with y twice the imaginary part. `kept` receives a copy of the frame.
 */
export function matrixEvidence(mean: usize, kept: usize, out: usize, stride: i32): void {
  const plane = usize(stride) * FLOAT
  const zero = f32x4.splat(0)
  const empty = f32x4.splat(EMPTY)
  const one = f32x4.splat(1)
  for (let k: usize = 0; k < plane; k += VECTOR) {
    const p = f32x4.max(zero, v128.load(mean + k))
    const q = f32x4.max(zero, v128.load(mean + k + plane))
    const re = v128.load(mean + k + 2 * plane)
    v128.store(kept + k, p)
    v128.store(kept + k + plane, q)
    v128.store(kept + k + 2 * plane, re)
    const im = v128.load(mean + k + 3 * plane)
    v128.store(kept + k + 3 * plane, im)
    const y = f32x4.add(im, im)
    const s = f32x4.add(empty, f32x4.add(p, q))
    const d = f32x4.sub(p, q)
    const x = f32x4.add(re, re)
    const scale = f32x4.div(one, s)
    const dd = f32x4.mul(d, f32x4.mul(d, scale))
    const xx = f32x4.mul(x, f32x4.mul(x, scale))
    const at = out + k
    v128.store(at, s)
    v128.store(at + plane, dd)
    v128.store(at + 2 * plane, xx)
    v128.store(at + 3 * plane, d)
    v128.store(at + 4 * plane, x)
    v128.store(at + 5 * plane, v128.and(dd, f32x4.gt(d, zero)))
    v128.store(at + 6 * plane, v128.and(xx, f32x4.gt(x, zero)))
    v128.store(at + 7 * plane, f32x4.mul(y, f32x4.mul(y, scale)))
  }
}

/** How much of the residue that neither direction explains belongs to left and right: 0 .. 1, else to centre and surround. */
function frontShare(near: usize, plane: usize, scale: v128): v128 {
  const zero = f32x4.splat(0)
  const one = f32x4.splat(1)
  const dd = f32x4.mul(scale, v128.load(near + plane))
  const xx = f32x4.mul(scale, v128.load(near + 2 * plane))
  const left = f32x4.mul(scale, v128.load(near + 5 * plane))
  const centre = f32x4.mul(scale, v128.load(near + 6 * plane))
  const yy = f32x4.mul(scale, v128.load(near + 7 * plane))
  const byChance = f32x4.mul(f32x4.splat(CHANCE_EACH), yy)
  const l = f32x4.max(zero, f32x4.sub(left, byChance))
  const r = f32x4.max(zero, f32x4.sub(f32x4.sub(dd, left), byChance))
  const c = f32x4.max(zero, f32x4.sub(centre, byChance))
  const s = f32x4.max(zero, f32x4.sub(f32x4.sub(xx, centre), byChance))
  const unsure = f32x4.splat(UNSURE)
  const fronts = f32x4.add(unsure, f32x4.sqrt(f32x4.mul(l, r)))
  const middle = f32x4.add(unsure, f32x4.sqrt(f32x4.mul(c, s)))
  return f32x4.div(fronts, f32x4.add(fronts, middle))
}

/** `own` where the neighbourhood says that it is a direction, `usual` where it is chance. */
function steadied(own: v128, usual: v128, squared: v128, turned: v128): v128 {
  const one = f32x4.splat(1)
  const direction = f32x4.div(squared, f32x4.max(f32x4.splat(1e-7), f32x4.add(squared, turned)))
  const trust = rise(direction, CHANCE, DIRECTION - CHANCE)
  const held = f32x4.max(f32x4.splat(-1), f32x4.min(one, usual))
  return f32x4.add(f32x4.mul(trust, own), f32x4.mul(f32x4.sub(one, trust), held))
}

/**
 * Weights of one transform: powers of the four sounds that explain the frame `kept` best in its neighbourhood `near` (the
 * averages of `matrixEvidence`), and from them the minimum-mean-square estimates of C and S of `spectrum`.
 * `centre` receives re and im of C; `surrounds` re and im of Ls, then of Rs; Ls + Rs = S.
 */
export function matrixWeigh(
  kept: usize,
  near: usize,
  spectrum: usize,
  centre: usize,
  surrounds: usize,
  stride: i32,
  centreShare: f32,
  surroundShare: f32,
): void {
  const plane = usize(stride) * FLOAT
  const zero = f32x4.splat(0)
  const half = f32x4.splat(0.5)
  const one = f32x4.splat(1)
  const two = f32x4.splat(2)
  const empty = f32x4.splat(EMPTY)
  const leak = f32x4.splat(LEAK)
  const centreGain = f32x4.splat(centreShare * f32(Math.SQRT1_2))
  const surroundGain = f32x4.splat(surroundShare * f32(Math.SQRT1_2))
  for (let k: usize = 0; k < plane; k += VECTOR) {
    const p = v128.load(kept + k)
    const q = v128.load(kept + k + plane)
    const scale = f32x4.div(one, f32x4.add(empty, f32x4.add(p, q)))
    const re = f32x4.mul(scale, v128.load(kept + k + 2 * plane))
    const im = f32x4.mul(scale, v128.load(kept + k + 3 * plane))
    const nearScale = f32x4.div(one, f32x4.max(empty, v128.load(near + k)))
    const dd = f32x4.mul(nearScale, v128.load(near + k + plane))
    const xx = f32x4.mul(nearScale, v128.load(near + k + 2 * plane))
    const usualD = f32x4.mul(nearScale, v128.load(near + k + 3 * plane))
    const usualX = f32x4.mul(nearScale, v128.load(near + k + 4 * plane))
    const ownD = f32x4.mul(scale, f32x4.sub(p, q))
    const yy = f32x4.mul(nearScale, v128.load(near + k + 7 * plane))
    const d = steadied(ownD, usualD, dd, yy)
    const x = steadied(f32x4.add(re, re), usualX, xx, yy)
    const pl = f32x4.mul(half, f32x4.add(one, d))
    const pr = f32x4.mul(half, f32x4.sub(one, d))
    const geometric = f32x4.add(leak, f32x4.sqrt(f32x4.mul(pl, pr)))
    const coherence = f32x4.div(f32x4.sqrt(f32x4.add(f32x4.mul(re, re), f32x4.mul(im, im))), geometric)
    const quadrature = f32x4.div(im, geometric)
    const turned = clip01(f32x4.mul(f32x4.mul(quadrature, quadrature), rise(coherence, ONE_SOUND, ONE_SOUND_RANGE)))
    const share = f32x4.mul(frontShare(near + k, plane, nearScale), f32x4.sub(one, turned))

    const lesser = f32x4.min(pl, pr)
    const common = f32x4.min(f32x4.mul(half, f32x4.abs(x)), lesser)
    const residue = f32x4.mul(f32x4.sub(one, share), f32x4.sub(lesser, common))
    const least = f32x4.add(residue, leak)
    const taken = f32x4.sub(f32x4.add(common, residue), leak)
    const powerL = f32x4.sub(pl, taken)
    const powerR = f32x4.sub(pr, taken)
    const isFront = f32x4.gt(x, zero)
    const twice = f32x4.mul(two, common)
    const powerC = f32x4.add(least, v128.and(twice, isFront))
    const powerS = f32x4.add(least, v128.andnot(twice, isFront))
    const sides = f32x4.mul(half, f32x4.mul(f32x4.add(powerL, powerR), f32x4.add(powerC, powerS)))
    const determinant = f32x4.add(f32x4.add(f32x4.mul(powerL, powerR), sides), f32x4.mul(powerC, powerS))
    const c = f32x4.div(f32x4.mul(centreGain, powerC), determinant)
    const s = f32x4.div(f32x4.mul(surroundGain, powerS), determinant)
    const cLeft = f32x4.mul(c, f32x4.add(powerR, powerS))
    const cRight = f32x4.mul(c, f32x4.add(powerL, powerS))
    const sLeft = f32x4.mul(s, f32x4.add(powerR, powerC))
    const sRight = f32x4.mul(s, f32x4.add(powerL, powerC))

    const opposite = rise(f32x4.div(f32x4.neg(re), geometric), SIDE, SIDE_RANGE)
    const aside = f32x4.mul(f32x4.splat(3), f32x4.max(f32x4.splat(-1.0 / 3), f32x4.min(f32x4.splat(1.0 / 3), ownD)))
    const side = f32x4.mul(half, f32x4.mul(opposite, aside))
    const toLeft = f32x4.add(half, side)
    const toRight = f32x4.sub(half, side)
    for (let part: usize = 0; part < 2; part++) {
      const left = v128.load(spectrum + k + part * plane)
      const right = v128.load(spectrum + k + (2 + part) * plane)
      v128.store(centre + k + part * plane, f32x4.add(f32x4.mul(cLeft, left), f32x4.mul(cRight, right)))
      const surround = f32x4.sub(f32x4.mul(sRight, right), f32x4.mul(sLeft, left))
      v128.store(surrounds + k + part * plane, f32x4.mul(toLeft, surround))
      v128.store(surrounds + k + (2 + part) * plane, f32x4.mul(toRight, surround))
    }
  }
}

/** What remains in the fronts: lt - k c + k (ls + rs) and rt - k c - k (ls + rs), in float64. */
export function matrixFronts(
  lt: usize,
  rt: usize,
  centre: usize,
  leftSurround: usize,
  rightSurround: usize,
  leftOut: usize,
  rightOut: usize,
  frameCount: i32,
): void {
  const k = Math.SQRT1_2
  for (let i = 0; i < frameCount; i++) {
    const at = usize(i) * FLOAT
    const at2 = usize(i) * 8
    const c = k * f64(load<f32>(centre + at))
    const s = k * (f64(load<f32>(leftSurround + at)) + f64(load<f32>(rightSurround + at)))
    const left = load<f64>(lt + at2) - c + s
    const right = load<f64>(rt + at2) - c - s
    store<f64>(leftOut + at2, left)
    store<f64>(rightOut + at2, right)
  }
}

/** Sums closer than this to a rounding tie, in steps of the word, could fall either way in other arithmetic. */
const TIE: f64 = 1.0 / 1048576

function isNearTie(sum: f64): bool {
  return Math.abs(sum - Math.floor(sum) - 0.5) < TIE
}

/**
 * The words of both fronts, from words: lt - k (c - ls - rs) and rt - k (c + ls + rs), rounded half up and held within the
 * word; gives back how many did not fit. Where a sum is within 2^-20 of a tie, rs moves by one step until neither is;
 * `counts` (i32) is raised by the number of such moves.
 */
export function matrixDeriveFronts(
  lt: usize,
  rt: usize,
  centre: usize,
  leftSurround: usize,
  rightSurround: usize,
  frameCount: i32,
  fullScale: f64,
  left: usize,
  right: usize,
  counts: usize,
): i32 {
  const k = Math.SQRT1_2
  const highest = fullScale - 1
  let overs = 0
  for (let i = 0; i < frameCount; i++) {
    const at = usize(i) * FLOAT
    const c = load<i32>(centre + at)
    const ls = load<i32>(leftSurround + at)
    let rs = load<i32>(rightSurround + at)
    const step = rs < 0 ? 1 : -1
    let leftSum = f64(load<i32>(lt + at)) - k * f64(c - ls - rs)
    let rightSum = f64(load<i32>(rt + at)) - k * f64(c + ls + rs)
    while (isNearTie(leftSum) || isNearTie(rightSum)) {
      rs += step
      leftSum = f64(load<i32>(lt + at)) - k * f64(c - ls - rs)
      rightSum = f64(load<i32>(rt + at)) - k * f64(c + ls + rs)
      store<i32>(rightSurround + at, rs)
      store<i32>(counts, load<i32>(counts) + 1)
    }
    const leftWord = Math.floor(leftSum + 0.5)
    const rightWord = Math.floor(rightSum + 0.5)
    if (leftWord < -fullScale || leftWord > highest) overs++
    if (rightWord < -fullScale || rightWord > highest) overs++
    store<i32>(left + at, i32(max(-fullScale, min(highest, leftWord))))
    store<i32>(right + at, i32(max(-fullScale, min(highest, rightWord))))
  }
  return overs
}
