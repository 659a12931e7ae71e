import type { FourierTransform, Kernels } from '../../../dsp/index.ts'

/** Surrounds made of the fronts are delayed by 5 to 30 ms (common practice). */
const LONGEST_LAG_SECONDS = 0.05

/** Finds the delay between two signals from their cross-spectrum, by its phase alone. */
export class LagFinder {
  readonly #fourier: FourierTransform
  readonly #planes: readonly [number, number, number, number]
  readonly #re: Float32Array
  readonly #im: Float32Array
  readonly #out: Float32Array
  readonly #longest: number

  constructor(fourier: FourierTransform, kernels: Kernels, sampleRateHz: number) {
    this.#fourier = fourier
    const planes = [0, 1, 2, 3].map(() => fourier.takePlane()) as [number, number, number, number]
    this.#planes = planes
    const view = (address: number) => new Float32Array(kernels.memory.buffer, address, fourier.length)
    this.#re = view(planes[0])
    this.#im = view(planes[1])
    this.#out = view(planes[2])
    this.#longest = Math.round(LONGEST_LAG_SECONDS * sampleRateHz)
  }

  /** `cross` is a times the conjugate of b: a peak at lag n means that b is a, n frames later. */
  find(cross: { readonly re: Float64Array; readonly im: Float64Array; readonly from: number; readonly to: number }): {
    readonly lagFrames: number
    readonly peak: number
  } {
    const length = this.#fourier.length
    this.#re.fill(0)
    this.#im.fill(0)
    let used = 0
    for (let k = cross.from; k < cross.to; k++) {
      const size = Math.sqrt(cross.re[k]! * cross.re[k]! + cross.im[k]! * cross.im[k]!)
      if (!(size > 0)) continue
      const [re, im] = [cross.re[k]! / size, cross.im[k]! / size]
      this.#re[k] = re
      this.#im[k] = -im
      this.#re[length - k] = re
      this.#im[length - k] = im
      used += 2
    }
    if (used === 0) return { lagFrames: 0, peak: 0 }
    this.#fourier.inverse(...this.#planes)
    let lagFrames = 0
    for (let lag = -this.#longest; lag <= this.#longest; lag++) {
      if (Math.abs(this.#out[(lag + length) % length]!) > Math.abs(this.#out[(lagFrames + length) % length]!))
        lagFrames = lag
    }
    return { lagFrames, peak: this.#out[(lagFrames + length) % length]! / used }
  }
}
