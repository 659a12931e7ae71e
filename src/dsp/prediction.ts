import type { Kernels } from './kernels.ts'

export interface PredictionExports {
  readonly predictionProducts: (block: number, count: number, order: number, sums: number) => void
  readonly predictionErrors: (samples: number, count: number, taps: number, order: number, errors: number) => void
}

const BYTES_PER_FLOAT64 = 8
/** The kernels work on so many sums at a time. */
const GROUP = 8

/** Float64 samples in kernel memory, with room before and behind them for kernels to read into: silence. */
export function takeSamples(kernels: Kernels, count: number, before = 0): Float64Array {
  const address = kernels.arena.take((before + count + GROUP) * BYTES_PER_FLOAT64)
  new Float64Array(kernels.memory.buffer, address, before + count + GROUP).fill(0)
  return new Float64Array(kernels.memory.buffer, address + before * BYTES_PER_FLOAT64, count)
}

/**
 * Linear prediction of float64 signals in kernel memory, of one order. Takes its memory from the arena; the caller
 * gives it back. What a call returns is written over by the next one.
 * @source autocorrelation method, J. Makhoul, Proceedings of the IEEE 63 (1975)
 */
export class LinearPrediction {
  readonly #kernels: Kernels
  readonly #order: number
  readonly #window: Float64Array
  readonly #block: Float64Array
  readonly #sums: Float64Array
  readonly #taps: Float64Array
  readonly #errors: Float64Array

  /** `window` tapers the blocks that are to be predicted; `longest` is the most errors asked for at once. */
  constructor(kernels: Kernels, order: number, window: Float64Array, longest: number) {
    this.#kernels = kernels
    this.#order = order
    this.#window = window
    this.#block = takeSamples(kernels, window.length, order + GROUP)
    this.#sums = takeSamples(kernels, order + 1)
    this.#taps = takeSamples(kernels, order + 1)
    this.#errors = takeSamples(kernels, longest)
  }

  /** Sums of products, 0 to `order` samples apart, of the tapered block that begins at `first`. */
  products(signal: Float64Array, first: number): Float64Array {
    const [block, window] = [this.#block, this.#window]
    for (let n = 0; n < window.length; n++) block[n] = signal[first + n]! * window[n]!
    this.#kernels.exports.predictionProducts(block.byteOffset, block.length, this.#order, this.#sums.byteOffset)
    return this.#sums
  }

  /** What a filter of `order` + 1 taps leaves of `count` samples of a signal (`takeSamples`), from `first` > `order` on. */
  errors(signal: Float64Array, first: number, count: number, taps: Float64Array): Float64Array {
    this.#taps.set(taps)
    const from = signal.byteOffset + first * BYTES_PER_FLOAT64
    this.#kernels.exports.predictionErrors(from, count, this.#taps.byteOffset, this.#order, this.#errors.byteOffset)
    return this.#errors.subarray(0, count)
  }
}
