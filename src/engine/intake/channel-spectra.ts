import { FourierTransform, type Kernels } from '../../dsp/index.ts'

/** Two real signals' spectra, bins 0 .. length / 2. */
export type PairOfSpectra = {
  readonly aRe: Float32Array
  readonly aIm: Float32Array
  readonly bRe: Float32Array
  readonly bIm: Float32Array
}

/**
 * Hann-windowed Fourier transforms of two real signals at a time. A sine of amplitude 1 in the middle of a bin reads
 * power `SINE_POWER`, 1/4. Takes its memory from the arena; the caller gives it back.
 */
export class ChannelSpectra {
  readonly binCount: number
  readonly #length: number
  readonly #fourier: FourierTransform
  readonly #window: Float32Array
  readonly #planes: readonly [number, number, number, number]
  readonly #in: readonly [Float32Array, Float32Array]
  readonly #out: readonly [Float32Array, Float32Array]

  constructor(kernels: Kernels, length: number) {
    this.#length = length
    this.binCount = length / 2 + 1
    this.#fourier = new FourierTransform(kernels, length)
    const planes = [0, 1, 2, 3].map(() => this.#fourier.takePlane()) as [number, number, number, number]
    const view = (address: number) => new Float32Array(kernels.memory.buffer, address, length)
    this.#planes = planes
    this.#in = [view(planes[0]), view(planes[1])]
    this.#out = [view(planes[2]), view(planes[3])]
    kernels.exports.upmixFillWindow(planes[0], length, 1)
    // A sine window squared is a Hann window; 2 / length makes a full-scale sine's bin 1/2.
    this.#window = this.#in[0].map((sine) => (2 * sine * sine) / length)
  }

  /** Transforms `length` frames of `a` and `b` (null: silence) from `from` on into `spectra`. */
  transform(a: Float32Array, b: Float32Array | null, from: number, spectra: PairOfSpectra): void {
    const [re, im] = this.#in
    const window = this.#window
    const length = this.#length
    for (let n = 0; n < length; n++) {
      re[n] = a[from + n]! * window[n]!
      im[n] = b === null ? 0 : b[from + n]! * window[n]!
    }
    this.#fourier.forward(...this.#planes)
    const [zRe, zIm] = this.#out
    const { aRe, aIm, bRe, bIm } = spectra
    for (let k = 0; k < this.binCount; k++) {
      const mirror = (length - k) % length
      aRe[k] = 0.5 * (zRe[k]! + zRe[mirror]!)
      aIm[k] = 0.5 * (zIm[k]! - zIm[mirror]!)
      bRe[k] = 0.5 * (zIm[k]! + zIm[mirror]!)
      bIm[k] = 0.5 * (zRe[mirror]! - zRe[k]!)
    }
  }

  createSpectra(): PairOfSpectra {
    const fresh = () => new Float32Array(this.binCount)
    return { aRe: fresh(), aIm: fresh(), bRe: fresh(), bIm: fresh() }
  }
}

/** What `|bin|^2` of a sine of amplitude 1 reads: the Hann window's mean is 1/2, and half the sine lies at -f. */
export const SINE_POWER = 0.25

/** A transform length for windows of about `seconds`, a power of two. */
export function transformLength(seconds: number, sampleRateHz: number): number {
  let length = 64
  while (length * 1.5 < seconds * sampleRateHz) length *= 2
  return length
}
