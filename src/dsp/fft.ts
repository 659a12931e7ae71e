import { assert } from '../domain/index.ts'
import type { Kernels } from './kernels.ts'

export interface FftExports {
  readonly fftFillTwiddles: (twiddles: number, length: number) => void
  readonly fftForward: (
    inRe: number,
    inIm: number,
    outRe: number,
    outIm: number,
    twiddles: number,
    length: number,
  ) => void
}

/** Floats behind the end of a plane that joins or parts spectra of two real signals. */
const PLANE_SLACK = 4

/**
 * A complex Fourier transform of one length in kernel memory, float32, real and imaginary parts in separate planes.
 * Restrictions: length a power of two, 64 .. 65536. Planes have room for `length + 4` floats.
 * The input is overwritten. Error against the exact transform: below 3e-7 of the largest bin (see the test).
 * @source Stockham's self-sorting form of the radix-4 transform, e.g. Van Loan, Computational Frameworks for the FFT (1992)
 */
export class FourierTransform {
  readonly length: number
  readonly #kernels: Kernels
  readonly #twiddles: number

  constructor(kernels: Kernels, length: number) {
    assert(length >= 64 && length <= 65536 && (length & (length - 1)) === 0, `no transform of ${length} frames`)
    this.length = length
    this.#kernels = kernels
    this.#twiddles = kernels.arena.take(2 * length * Float32Array.BYTES_PER_ELEMENT)
    kernels.exports.fftFillTwiddles(this.#twiddles, length)
  }

  /** Gives the address of a fresh plane. */
  takePlane(): number {
    return this.#kernels.arena.take((this.length + PLANE_SLACK) * Float32Array.BYTES_PER_ELEMENT)
  }

  forward(inRe: number, inIm: number, outRe: number, outIm: number): void {
    this.#kernels.exports.fftForward(inRe, inIm, outRe, outIm, this.#twiddles, this.length)
  }

  /** The inverse without the factor 1 / length. */
  inverse(inRe: number, inIm: number, outRe: number, outIm: number): void {
    this.#kernels.exports.fftForward(inIm, inRe, outIm, outRe, this.#twiddles, this.length)
  }
}
