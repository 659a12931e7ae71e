// What the two tracks were found to be, put into the spectra: a small delay between them, and steady noise under them.

const FLOAT: usize = 4
const VECTOR: usize = 16

/** Writes cos and sin of `radiansPerBin` times the bin as two planes of `stride` floats. */
export function upmixFillPhases(phases: usize, stride: i32, radiansPerBin: f64): void {
  const stepRe = Math.cos(radiansPerBin)
  const stepIm = Math.sin(radiansPerBin)
  let re: f64 = 1
  let im: f64 = 0
  for (let bin = 0; bin < stride; bin++) {
    store<f32>(phases + usize(bin) * FLOAT, f32(re))
    store<f32>(phases + usize(stride + bin) * FLOAT, f32(im))
    const next = re * stepRe - im * stepIm
    im = re * stepIm + im * stepRe
    re = next
  }
}

/**
 * Turns a pair of spectra in place (re and im of left, re and im of right): left by minus the phases times `direction`,
 * right by plus. With 1 a right track that is late meets the left one half-way; with -1 both go back.
 */
export function upmixMeet(spectrum: usize, stride: i32, phases: usize, direction: f32): void {
  const plane = usize(stride) * FLOAT
  const sign = f32x4.splat(direction)
  for (let k: usize = 0; k < plane; k += VECTOR) {
    const c = v128.load(phases + k)
    const s = f32x4.mul(sign, v128.load(phases + k + plane))
    const lr = v128.load(spectrum + k)
    const li = v128.load(spectrum + k + plane)
    const rr = v128.load(spectrum + k + 2 * plane)
    const ri = v128.load(spectrum + k + 3 * plane)
    v128.store(spectrum + k, f32x4.add(f32x4.mul(lr, c), f32x4.mul(li, s)))
    v128.store(spectrum + k + plane, f32x4.sub(f32x4.mul(li, c), f32x4.mul(lr, s)))
    v128.store(spectrum + k + 2 * plane, f32x4.sub(f32x4.mul(rr, c), f32x4.mul(ri, s)))
    v128.store(spectrum + k + 3 * plane, f32x4.add(f32x4.mul(ri, c), f32x4.mul(rr, s)))
  }
}

/**
 * Takes steady noise off the surround spectra of a pair of transforms: a bin whose unrelated power (the smaller
 * eigenvalue of the smoothed `powers`, four planes) lies up to `shut` times the plane `floor` is multiplied by
 * 1 - amount, from `open` times on by 1, with a straight line in the root of the power between.
 */
export function upmixHoldNoise(
  powers: usize,
  floor: usize,
  first: usize,
  second: usize,
  stride: i32,
  amount: f32,
  shut: f32,
  open: f32,
): void {
  const plane = usize(stride) * FLOAT
  const zero = f32x4.splat(0)
  const one = f32x4.splat(1)
  const half = f32x4.splat(0.5)
  const tiny = f32x4.splat(1e-30)
  const from = f32x4.splat(f32(Math.sqrt(f64(shut))))
  const slope = f32x4.splat(f32(1.0 / (Math.sqrt(f64(open)) - Math.sqrt(f64(shut)))))
  const held = f32x4.splat(amount)
  for (let k: usize = 0; k < plane; k += VECTOR) {
    const p = f32x4.max(zero, v128.load(powers + k))
    const q = f32x4.max(zero, v128.load(powers + k + plane))
    const scale = f32x4.div(one, f32x4.add(f32x4.add(p, q), tiny))
    const pl = f32x4.mul(p, scale)
    const pr = f32x4.mul(q, scale)
    const xr = f32x4.mul(v128.load(powers + k + 2 * plane), scale)
    const xi = f32x4.mul(v128.load(powers + k + 3 * plane), scale)
    const cross = f32x4.add(f32x4.mul(xr, xr), f32x4.mul(xi, xi))
    const apart = f32x4.mul(half, f32x4.sub(pl, pr))
    const larger = f32x4.add(f32x4.add(half, f32x4.sqrt(f32x4.add(f32x4.mul(apart, apart), cross))), tiny)
    const smaller = f32x4.div(f32x4.max(zero, f32x4.sub(f32x4.mul(pl, pr), cross)), larger)
    // In units of the floor: an empty floor lets everything pass.
    const over = f32x4.div(smaller, f32x4.add(f32x4.mul(v128.load(floor + k), scale), tiny))
    const rise = f32x4.mul(slope, f32x4.sub(f32x4.sqrt(over), from))
    const shutting = f32x4.sub(one, f32x4.min(one, f32x4.max(zero, rise)))
    const gain = f32x4.sub(one, f32x4.mul(held, shutting))
    scaleBins(first + k, plane, gain)
    scaleBins(second + k, plane, gain)
  }
}

function scaleBins(at: usize, plane: usize, gain: v128): void {
  v128.store(at, f32x4.mul(gain, v128.load(at)))
  v128.store(at + plane, f32x4.mul(gain, v128.load(at + plane)))
  v128.store(at + 2 * plane, f32x4.mul(gain, v128.load(at + 2 * plane)))
  v128.store(at + 3 * plane, f32x4.mul(gain, v128.load(at + 3 * plane)))
}
