// Complex Fourier transform in float32, four lanes wide: decimation in frequency, radix 4, self-sorting (Stockham).
// Real and imaginary parts stand in planes of their own. Lengths: powers of two from 64 on.
// The inverse transform (without 1/n) is the forward one with the two planes swapped, at input and output.

const FLOAT: usize = 4
const VECTOR: usize = 16

/**
 * Writes e^(-2 pi i p / n), e^(-2 pi i 2p / n), e^(-2 pi i 3p / n) for p = 0 .. n/4 - 1 as six planes of n/4 floats
 * (re, im of each), for the lengths n, n/4, n/16 ... of the passes, one after the other: fewer than 2n floats.
 */
export function fftFillTwiddles(twiddles: usize, length: i32): void {
  let at = twiddles
  for (let n = length; n >= 4; n >>= 2) {
    const quarter = n >> 2
    for (let power = 1; power <= 3; power++) {
      for (let p = 0; p < quarter; p++) {
        const angle = (-2.0 * Math.PI * f64(power * p)) / f64(n)
        store<f32>(at + usize(p) * FLOAT, f32(Math.cos(angle)))
        store<f32>(at + usize(quarter + p) * FLOAT, f32(Math.sin(angle)))
      }
      at += usize(2 * quarter) * FLOAT
    }
  }
}

/** Transforms `inRe`, `inIm` into `outRe`, `outIm`; the input is overwritten. */
export function fftForward(inRe: usize, inIm: usize, outRe: usize, outIm: usize, twiddles: usize, length: i32): void {
  let xr = inRe
  let xi = inIm
  let yr = outRe
  let yi = outIm
  let at = twiddles
  firstPass(xr, xi, yr, yi, at, length)
  at += usize(6 * (length >> 2)) * FLOAT
  let n = length >> 2
  let stride = 4
  while (n > 4) {
    let swap = xr
    xr = yr
    yr = swap
    swap = xi
    xi = yi
    yi = swap
    middlePass(xr, xi, yr, yi, at, n, stride)
    at += usize(6 * (n >> 2)) * FLOAT
    n >>= 2
    stride <<= 2
  }
  // The last pass puts every value where it took one, so that it may go to either buffer: the result is always in `out`.
  if (n === 4) lastPassOfFour(yr, yi, outRe, outIm, stride)
  else lastPassOfTwo(yr, yi, outRe, outIm, stride)
}

// Stride 1: the four outputs of a butterfly are neighbours, so four butterflies are computed at once and transposed.
function firstPass(xr: usize, xi: usize, yr: usize, yi: usize, twiddles: usize, n: i32): void {
  const quarter = usize(n >> 2) * FLOAT
  for (let p: usize = 0; p < quarter; p += VECTOR) {
    const ar = v128.load(xr + p)
    const ai = v128.load(xi + p)
    const br = v128.load(xr + p + quarter)
    const bi = v128.load(xi + p + quarter)
    const cr = v128.load(xr + p + 2 * quarter)
    const ci = v128.load(xi + p + 2 * quarter)
    const dr = v128.load(xr + p + 3 * quarter)
    const di = v128.load(xi + p + 3 * quarter)
    const sumAcR = f32x4.add(ar, cr)
    const sumAcI = f32x4.add(ai, ci)
    const difAcR = f32x4.sub(ar, cr)
    const difAcI = f32x4.sub(ai, ci)
    const sumBdR = f32x4.add(br, dr)
    const sumBdI = f32x4.add(bi, di)
    const difBdR = f32x4.sub(br, dr)
    const difBdI = f32x4.sub(bi, di)
    const t = twiddles + p
    // amc - j bmd, apc - bpd, amc + j bmd, each turned by its twiddle
    const oneR = f32x4.add(difAcR, difBdI)
    const oneI = f32x4.sub(difAcI, difBdR)
    const twoR = f32x4.sub(sumAcR, sumBdR)
    const twoI = f32x4.sub(sumAcI, sumBdI)
    const threeR = f32x4.sub(difAcR, difBdI)
    const threeI = f32x4.add(difAcI, difBdR)
    const w1r = v128.load(t)
    const w1i = v128.load(t + quarter)
    const w2r = v128.load(t + 2 * quarter)
    const w2i = v128.load(t + 3 * quarter)
    const w3r = v128.load(t + 4 * quarter)
    const w3i = v128.load(t + 5 * quarter)
    storeTransposed(
      yr + 4 * p,
      f32x4.add(sumAcR, sumBdR),
      f32x4.sub(f32x4.mul(w1r, oneR), f32x4.mul(w1i, oneI)),
      f32x4.sub(f32x4.mul(w2r, twoR), f32x4.mul(w2i, twoI)),
      f32x4.sub(f32x4.mul(w3r, threeR), f32x4.mul(w3i, threeI)),
    )
    storeTransposed(
      yi + 4 * p,
      f32x4.add(sumAcI, sumBdI),
      f32x4.add(f32x4.mul(w1r, oneI), f32x4.mul(w1i, oneR)),
      f32x4.add(f32x4.mul(w2r, twoI), f32x4.mul(w2i, twoR)),
      f32x4.add(f32x4.mul(w3r, threeI), f32x4.mul(w3i, threeR)),
    )
  }
}

function storeTransposed(at: usize, a: v128, b: v128, c: v128, d: v128): void {
  const abLow = v128.shuffle<f32>(a, b, 0, 4, 1, 5)
  const abHigh = v128.shuffle<f32>(a, b, 2, 6, 3, 7)
  const cdLow = v128.shuffle<f32>(c, d, 0, 4, 1, 5)
  const cdHigh = v128.shuffle<f32>(c, d, 2, 6, 3, 7)
  v128.store(at, v128.shuffle<f32>(abLow, cdLow, 0, 1, 4, 5))
  v128.store(at, v128.shuffle<f32>(abLow, cdLow, 2, 3, 6, 7), 16)
  v128.store(at, v128.shuffle<f32>(abHigh, cdHigh, 0, 1, 4, 5), 32)
  v128.store(at, v128.shuffle<f32>(abHigh, cdHigh, 2, 3, 6, 7), 48)
}

// Stride 4, 16 ...: the lanes are neighbours inside one butterfly group, which shares its twiddles.
function middlePass(xr: usize, xi: usize, yr: usize, yi: usize, twiddles: usize, n: i32, stride: i32): void {
  const plane = usize(n >> 2) * FLOAT
  const row = usize(stride) * FLOAT
  const quarter = usize(stride * (n >> 2)) * FLOAT
  for (let p: usize = 0; p < plane; p += FLOAT) {
    const t = twiddles + p
    const w1r = v128.load32_splat(t)
    const w1i = v128.load32_splat(t + plane)
    const w2r = v128.load32_splat(t + 2 * plane)
    const w2i = v128.load32_splat(t + 3 * plane)
    const w3r = v128.load32_splat(t + 4 * plane)
    const w3i = v128.load32_splat(t + 5 * plane)
    const from = (p / FLOAT) * row
    const to: usize = 4 * from
    for (let q: usize = 0; q < row; q += VECTOR) {
      const rFrom = xr + from + q
      const iFrom = xi + from + q
      const ar = v128.load(rFrom)
      const ai = v128.load(iFrom)
      const br = v128.load(rFrom + quarter)
      const bi = v128.load(iFrom + quarter)
      const cr = v128.load(rFrom + 2 * quarter)
      const ci = v128.load(iFrom + 2 * quarter)
      const dr = v128.load(rFrom + 3 * quarter)
      const di = v128.load(iFrom + 3 * quarter)
      const sumAcR = f32x4.add(ar, cr)
      const sumAcI = f32x4.add(ai, ci)
      const difAcR = f32x4.sub(ar, cr)
      const difAcI = f32x4.sub(ai, ci)
      const sumBdR = f32x4.add(br, dr)
      const sumBdI = f32x4.add(bi, di)
      const difBdR = f32x4.sub(br, dr)
      const difBdI = f32x4.sub(bi, di)
      const oneR = f32x4.add(difAcR, difBdI)
      const oneI = f32x4.sub(difAcI, difBdR)
      const twoR = f32x4.sub(sumAcR, sumBdR)
      const twoI = f32x4.sub(sumAcI, sumBdI)
      const threeR = f32x4.sub(difAcR, difBdI)
      const threeI = f32x4.add(difAcI, difBdR)
      const rTo = yr + to + q
      const iTo = yi + to + q
      v128.store(rTo, f32x4.add(sumAcR, sumBdR))
      v128.store(iTo, f32x4.add(sumAcI, sumBdI))
      v128.store(rTo + row, f32x4.sub(f32x4.mul(w1r, oneR), f32x4.mul(w1i, oneI)))
      v128.store(iTo + row, f32x4.add(f32x4.mul(w1r, oneI), f32x4.mul(w1i, oneR)))
      v128.store(rTo + 2 * row, f32x4.sub(f32x4.mul(w2r, twoR), f32x4.mul(w2i, twoI)))
      v128.store(iTo + 2 * row, f32x4.add(f32x4.mul(w2r, twoI), f32x4.mul(w2i, twoR)))
      v128.store(rTo + 3 * row, f32x4.sub(f32x4.mul(w3r, threeR), f32x4.mul(w3i, threeI)))
      v128.store(iTo + 3 * row, f32x4.add(f32x4.mul(w3r, threeI), f32x4.mul(w3i, threeR)))
    }
  }
}

function lastPassOfFour(xr: usize, xi: usize, yr: usize, yi: usize, stride: i32): void {
  const row = usize(stride) * FLOAT
  for (let q: usize = 0; q < row; q += VECTOR) {
    const ar = v128.load(xr + q)
    const ai = v128.load(xi + q)
    const br = v128.load(xr + q + row)
    const bi = v128.load(xi + q + row)
    const cr = v128.load(xr + q + 2 * row)
    const ci = v128.load(xi + q + 2 * row)
    const dr = v128.load(xr + q + 3 * row)
    const di = v128.load(xi + q + 3 * row)
    const sumAcR = f32x4.add(ar, cr)
    const sumAcI = f32x4.add(ai, ci)
    const difAcR = f32x4.sub(ar, cr)
    const difAcI = f32x4.sub(ai, ci)
    const sumBdR = f32x4.add(br, dr)
    const sumBdI = f32x4.add(bi, di)
    const difBdR = f32x4.sub(br, dr)
    const difBdI = f32x4.sub(bi, di)
    v128.store(yr + q, f32x4.add(sumAcR, sumBdR))
    v128.store(yi + q, f32x4.add(sumAcI, sumBdI))
    v128.store(yr + q + row, f32x4.add(difAcR, difBdI))
    v128.store(yi + q + row, f32x4.sub(difAcI, difBdR))
    v128.store(yr + q + 2 * row, f32x4.sub(sumAcR, sumBdR))
    v128.store(yi + q + 2 * row, f32x4.sub(sumAcI, sumBdI))
    v128.store(yr + q + 3 * row, f32x4.sub(difAcR, difBdI))
    v128.store(yi + q + 3 * row, f32x4.add(difAcI, difBdR))
  }
}

function lastPassOfTwo(xr: usize, xi: usize, yr: usize, yi: usize, stride: i32): void {
  const row = usize(stride) * FLOAT
  for (let q: usize = 0; q < row; q += VECTOR) {
    const ar = v128.load(xr + q)
    const ai = v128.load(xi + q)
    const br = v128.load(xr + q + row)
    const bi = v128.load(xi + q + row)
    v128.store(yr + q, f32x4.add(ar, br))
    v128.store(yi + q, f32x4.add(ai, bi))
    v128.store(yr + q + row, f32x4.sub(ar, br))
    v128.store(yi + q + row, f32x4.sub(ai, bi))
  }
}
