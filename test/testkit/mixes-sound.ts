import { transform } from '../../src/dsp/fft.reference.ts'
import type { Stereo } from './mixes.ts'
import { RATE } from './mixes-players.ts'
import { seededRandom } from './programmes.ts'

/** Gaussian random numbers from a seed. @source Box and Muller, Ann. Math. Statist. 29 (1958) */
export function gaussian(seed: number): () => number {
  const uniform = seededRandom(seed)
  return () => Math.sqrt(-2 * Math.log(1 - uniform())) * Math.cos(2 * Math.PI * uniform())
}

export function rms(x: Float64Array): number {
  let sum = 0
  for (const sample of x) sum += sample * sample
  return Math.sqrt(sum / x.length)
}

export function scaled(x: Float64Array, gain: number): Float64Array {
  return x.map((sample) => gain * sample)
}

export function withRms(x: Float64Array, level: number): Float64Array {
  return scaled(x, level / rms(x))
}

/** Gains of left and right for a phantom source at +30 (left) .. -30 (right) degrees, of power 1. @source tangent law, common practice */
export function panGains(degrees: number): readonly [number, number] {
  const g = Math.tan((degrees * Math.PI) / 180) / Math.tan(Math.PI / 6)
  const length = Math.hypot((1 + g) / 2, (1 - g) / 2)
  return [(1 + g) / 2 / length, (1 - g) / 2 / length]
}

export function panned(x: Float64Array, degrees: number): Stereo {
  const [left, right] = panGains(degrees)
  return { left: scaled(x, left), right: scaled(x, right) }
}

/** Noise whose power falls by 3 dB an octave above 20 Hz, by shaping white noise in frequency; RMS 1. */
export function pinkNoise(frameCount: number, random: () => number): Float64Array {
  const n = powerOfTwoFrom(frameCount)
  const white = transform(Float64Array.from({ length: n }, random), new Float64Array(n))
  for (let k = 0; k < n; k++) {
    const hz = (Math.min(k, n - k) * RATE) / n
    const gain = 1 / Math.sqrt(Math.max(hz, 20))
    white.re[k] = white.re[k]! * gain
    white.im[k] = white.im[k]! * gain
  }
  return withRms(transform(white.im, white.re).im.slice(0, frameCount), 1)
}

export function convolved(x: Float64Array, response: Float64Array): Float64Array {
  const n = powerOfTwoFrom(x.length + response.length)
  const pad = (y: Float64Array) => {
    const out = new Float64Array(n)
    out.set(y)
    return out
  }
  // Both real signals in one transform: Z = X + i Y, so X Y = (Z(k)^2 - conj Z(-k)^2) / 4i.
  const z = transform(pad(x), pad(response))
  const re = new Float64Array(n)
  const im = new Float64Array(n)
  for (let k = 0; k < n; k++) {
    const m = (n - k) % n
    const [a, b, c, d] = [z.re[k]!, z.im[k]!, z.re[m]!, -z.im[m]!]
    re[k] = (2 * a * b - 2 * c * d) / 4
    im[k] = -(a * a - b * b - (c * c - d * d)) / 4
  }
  const time = transform(im, re).im
  return time.slice(0, x.length).map((sample) => sample / n)
}

/** The room around a mono source: two independent decaying noises, unit energy each, 6 kHz low-pass, after `delayMs`. */
export function reverberant(x: Float64Array, seconds: number, delayMs: number, random: () => number): Stereo {
  const delay = Math.round((delayMs * RATE) / 1000)
  const side = () => {
    const response = new Float64Array(delay + Math.round(1.2 * seconds * RATE))
    const pole = Math.exp((-2 * Math.PI * 6000) / RATE)
    let low = 0
    let energy = 0
    for (let i = delay; i < response.length; i++) {
      low = pole * low + (1 - pole) * random() * 10 ** ((-3 * (i - delay)) / (seconds * RATE))
      response[i] = low
      energy += low * low
    }
    return convolved(x, scaled(response, 1 / Math.sqrt(energy)))
  }
  return { left: side(), right: side() }
}

/** Second-order Butterworth high-pass and low-pass in a row. */
export function bandPassed(x: Float64Array, lowHz: number, highHz: number): Float64Array {
  return biquad(biquad(x, lowHz, 'high-pass'), highHz, 'low-pass')
}

/** @source bilinear transform of the second-order Butterworth filter */
function biquad(x: Float64Array, cornerHz: number, kind: 'low-pass' | 'high-pass'): Float64Array {
  const w = Math.tan((Math.PI * Math.min(cornerHz, 0.45 * RATE)) / RATE)
  const norm = 1 / (1 + Math.SQRT2 * w + w * w)
  const b0 = (kind === 'high-pass' ? 1 : w * w) * norm
  const b1 = (kind === 'high-pass' ? -2 : 2) * b0
  const a1 = 2 * (w * w - 1) * norm
  const a2 = (1 - Math.SQRT2 * w + w * w) * norm
  let z1 = 0
  let z2 = 0
  return x.map((sample) => {
    const y = b0 * sample + z1
    z1 = b1 * sample - a1 * y + z2
    z2 = b0 * sample - a2 * y
    return y
  })
}

export function powerOfTwoFrom(count: number): number {
  return 2 ** Math.ceil(Math.log2(count))
}
