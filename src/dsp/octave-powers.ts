import { OCTAVE_EDGES_HZ } from '../domain/index.ts'
import { FourierTransform } from './fft.ts'
import type { Kernels } from './kernels.ts'

/** Mean power of a windowed spectrum of noise of power 1: the mean square of a Hann window. */
const HANN_POWER = 0.375

/**
 * The power of signals in each octave, read through a Hann window of `length` frames. Windows of a power of two, 64 to
 * 65536 frames; an octave above half the sampling rate holds what lies below that.
 */
export class OctavePowers {
  readonly length: number
  readonly #transform: FourierTransform
  readonly #memory: Kernels['memory']
  readonly #planes: readonly [number, number, number, number]
  readonly #firstBins: readonly number[]

  constructor(kernels: Kernels, sampleRateHz: number, length: number) {
    this.length = length
    this.#memory = kernels.memory
    this.#transform = new FourierTransform(kernels, length)
    const take = () => this.#transform.takePlane()
    this.#planes = [take(), take(), take(), take()]
    this.#firstBins = OCTAVE_EDGES_HZ.map((edge) => Math.min(length / 2, Math.ceil((edge * length) / sampleRateHz)))
  }

  /** Adds the power of one or two signals, `length` frames from `from` on, to `powers`, one value an octave of `OCTAVES_HZ`. */
  add(signals: readonly [Float64Array, Float64Array?], from: number, powers: Float64Array): void {
    const { length } = this
    const [inRe, inIm, outRe, outIm] = this.#planes
    const plane = (address: number) => new Float32Array(this.#memory.buffer, address, length)
    plane(inRe).set(signals[0].subarray(from, from + length))
    if (signals[1] === undefined) plane(inIm).fill(0)
    else plane(inIm).set(signals[1].subarray(from, from + length))
    this.#transform.forward(inRe, inIm, outRe, outIm)
    const [re, im] = [plane(outRe), plane(outIm)]
    // Of the spectrum of two real signals as one complex one, bins k and -k together hold the power of both.
    const scale = 1 / (HANN_POWER * length * length)
    for (let octave = 0; octave + 1 < this.#firstBins.length; octave++) {
      let sum = 0
      const end = this.#firstBins[octave + 1] as number
      for (let k = Math.max(1, this.#firstBins[octave] as number); k < end; k++) {
        sum += hannPower(re, im, k) + hannPower(re, im, length - k)
      }
      powers[octave] = (powers[octave] as number) + sum * scale
    }
  }
}

/** |X[k]|^2 behind a Hann window, which is a weighted sum of three bins of the spectrum without one. */
function hannPower(re: Float32Array, im: Float32Array, k: number): number {
  const next = k + 1 === re.length ? 0 : k + 1
  const x = 0.5 * (re[k] as number) - 0.25 * ((re[k - 1] as number) + (re[next] as number))
  const y = 0.5 * (im[k] as number) - 0.25 * ((im[k - 1] as number) + (im[next] as number))
  return x * x + y * y
}
