import { FourierTransform, type Kernels } from '../../../dsp/index.ts'
import { hannWindow } from './turn.ts'

/** Two tracks and where their frame 0 lies. */
export type Pair = { readonly left: Float32Array; readonly right: Float32Array }

/**
 * Power and cross spectra of two tracks by one complex transform (left real, right imaginary), Hann-windowed.
 * The cross spectrum is left times the conjugate of right: its phase rises with frequency where the right track is late.
 */
export class PairSpectrum {
  readonly length: number
  readonly binHz: number
  readonly leftPower: Float32Array
  readonly rightPower: Float32Array
  readonly crossRe: Float32Array
  readonly crossIm: Float32Array
  readonly #transform: FourierTransform
  readonly #window: Float32Array
  readonly #addresses: readonly [number, number, number, number]
  readonly #inRe: Float32Array
  readonly #inIm: Float32Array
  readonly #outRe: Float32Array
  readonly #outIm: Float32Array

  constructor(kernels: Kernels, length: number, sampleRateHz: number) {
    this.length = length
    this.binHz = sampleRateHz / length
    this.#transform = new FourierTransform(kernels, length)
    this.#window = hannWindow(length)
    const take = () => this.#transform.takePlane()
    this.#addresses = [take(), take(), take(), take()]
    const planes = this.#addresses.map((address) => new Float32Array(kernels.memory.buffer, address, length))
    ;[this.#inRe, this.#inIm, this.#outRe, this.#outIm] = planes as [
      Float32Array,
      Float32Array,
      Float32Array,
      Float32Array,
    ]
    this.leftPower = new Float32Array(length / 2)
    this.rightPower = new Float32Array(length / 2)
    this.crossRe = new Float32Array(length / 2)
    this.crossIm = new Float32Array(length / 2)
  }

  /** Computes the bins from `firstBin` up to `endBin` around a frame of the pair; what lies outside the pair is silence. */
  lookAround(pair: Pair, centre: number, firstBin: number, endBin: number): void {
    this.#fill(pair, centre - this.length / 2)
    const [inRe, inIm, outRe, outIm] = this.#addresses
    this.#transform.forward(inRe, inIm, outRe, outIm)
    const re = this.#outRe
    const im = this.#outIm
    const n = this.length
    for (let bin = firstBin; bin < endBin; bin++) {
      const leftRe = (re[bin]! + re[n - bin]!) / 2
      const leftIm = (im[bin]! - im[n - bin]!) / 2
      const rightRe = (im[bin]! + im[n - bin]!) / 2
      const rightIm = (re[n - bin]! - re[bin]!) / 2
      this.leftPower[bin] = leftRe * leftRe + leftIm * leftIm
      this.rightPower[bin] = rightRe * rightRe + rightIm * rightIm
      this.crossRe[bin] = leftRe * rightRe + leftIm * rightIm
      this.crossIm[bin] = leftIm * rightRe - leftRe * rightIm
    }
  }

  /**
   * Two correlations by lag from two spectra of half the length, given as bins of `first` and `second` (re, im):
   * index `lag` (or `length + lag`) of the result. The planes are overwritten by the next call.
   */
  correlate(
    first: Spectrum,
    second: Spectrum,
    firstBin: number,
    endBin: number,
  ): { readonly first: Float32Array; readonly second: Float32Array } {
    const n = this.length
    this.#inRe.fill(0)
    this.#inIm.fill(0)
    for (let bin = firstBin; bin < endBin; bin++) {
      this.#inRe[bin] = first.re[bin]! - second.im[bin]!
      this.#inIm[bin] = first.im[bin]! + second.re[bin]!
      this.#inRe[n - bin] = first.re[bin]! + second.im[bin]!
      this.#inIm[n - bin] = second.re[bin]! - first.im[bin]!
    }
    const [inRe, inIm, outRe, outIm] = this.#addresses
    this.#transform.inverse(inRe, inIm, outRe, outIm)
    return { first: this.#outRe, second: this.#outIm }
  }

  #fill(pair: Pair, from: number): void {
    const window = this.#window
    const begin = Math.max(0, -from)
    const end = Math.min(this.length, pair.left.length - from)
    if (begin > 0 || end < this.length) {
      this.#inRe.fill(0)
      this.#inIm.fill(0)
    }
    for (let index = begin; index < end; index++) {
      this.#inRe[index] = pair.left[from + index]! * window[index]!
      this.#inIm[index] = pair.right[from + index]! * window[index]!
    }
  }
}

export type Spectrum = { readonly re: Float64Array; readonly im: Float64Array }
