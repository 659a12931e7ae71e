/**
 * The K-weighting as the kernel runs it. Shelf: w[n] = x - a1 w[n-1] - a2 w[n-2], y = x + g1 w[n-1] + g2 w[n-2]; the
 * factor b0 of its numerator is left to `energyScale`. High-pass, with s and r the first and the second running sum
 * of its output z: s' = y - e2 r + f s, z = s' - s, r' = r + s.
 */
export type KWeighting = {
  readonly g1: number
  readonly g2: number
  readonly a1: number
  readonly a2: number
  readonly e2: number
  readonly f: number
  /** What the squares of the output are multiplied by. */
  readonly energyScale: number
}

/** Coefficients in the form in which the Recommendation prints them; the high-pass has b = 1, -2, 1. */
export type KBiquads = {
  readonly shelf: {
    readonly b0: number
    readonly b1: number
    readonly b2: number
    readonly a1: number
    readonly a2: number
  }
  readonly highPass: { readonly a1: number; readonly a2: number }
}

/**
 * The analogue prototype from which the table for 48 kHz is reproduced to all its digits; it gives the same response
 * at every rate, which is all that the Recommendation asks for.
 * @source ITU-R BS.1770-5 Annex 1, Tables 1 and 2; prototype as used by general loudness libraries (libebur128)
 */
const SHELF = { hz: 1681.974450955533, q: 0.7071752369554196 }
/** Gain above the shelf, 3.999843853973347 dB, as a ratio; and its power 0.4996667741545416. */
const SHELF_GAIN = 1.5848647011308556
const SHELF_GAIN_AT_BEND = 1.2587209302325617
const HIGH_PASS = { hz: 38.13547087602444, q: 0.5003270373238773 }

export function kBiquads(sampleRateHz: number): KBiquads {
  const shelf = bilinear(SHELF, sampleRateHz)
  const bend = SHELF_GAIN_AT_BEND * shelf.kOverQ
  const highPass = bilinear(HIGH_PASS, sampleRateHz)
  return {
    shelf: {
      b0: (SHELF_GAIN + bend + shelf.kk) / shelf.a0,
      b1: (2 * (shelf.kk - SHELF_GAIN)) / shelf.a0,
      b2: (SHELF_GAIN - bend + shelf.kk) / shelf.a0,
      a1: shelf.a1,
      a2: shelf.a2,
    },
    highPass: { a1: highPass.a1, a2: highPass.a2 },
  }
}

export function kWeighting(sampleRateHz: number): KWeighting {
  const { shelf, highPass } = kBiquads(sampleRateHz)
  return {
    g1: shelf.b1 / shelf.b0 - shelf.a1,
    g2: shelf.b2 / shelf.b0 - shelf.a2,
    a1: shelf.a1,
    a2: shelf.a2,
    e2: 1 + highPass.a1 + highPass.a2,
    f: -1 - highPass.a1,
    energyScale: shelf.b0 * shelf.b0,
  }
}

function bilinear(corner: { readonly hz: number; readonly q: number }, sampleRateHz: number) {
  const k = tangent((Math.PI * corner.hz) / sampleRateHz)
  const kk = k * k
  const kOverQ = k / corner.q
  const a0 = 1 + kOverQ + kk
  return { kk, kOverQ, a0, a1: (2 * (kk - 1)) / a0, a2: (1 - kOverQ + kk) / a0 }
}

/** Tangent of a small angle by Lambert's continued fraction: the same on every machine, exact to the last digit below 0.5. */
function tangent(angle: number): number {
  let tail = 17
  for (let odd = 15; odd >= 1; odd -= 2) tail = odd - (angle * angle) / tail
  return angle / tail
}
