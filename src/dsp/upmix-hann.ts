import type { Kernels } from './kernels.ts'

/**
 * A Hann-weighted mean over pairs of transforms, for neighbouring floats of a frame: weights 1 + cos(pi n / (half + 1)) for
 * n = -half .. half, of sum 1; frames outside the stretch count as zero. Advances one pair a step.
 */
export class HannMean {
  /** Where the mean stands after a step. */
  readonly out: number
  readonly half: number
  readonly #kernels: Kernels
  readonly #count: number
  readonly #period: number
  readonly #turns: Float64Array
  readonly #sums: Float64Array

  constructor(kernels: Kernels, half: number, count: number) {
    this.half = half
    this.#kernels = kernels
    this.#count = count
    this.#period = 2 * (half + 1)
    const { arena, memory, exports } = kernels
    const turns = arena.take(2 * this.#period * Float64Array.BYTES_PER_ELEMENT)
    exports.upmixFillTurns(turns, this.#period)
    this.#turns = new Float64Array(memory.buffer, turns, 2 * this.#period)
    this.#sums = new Float64Array(memory.buffer, arena.take(3 * count * Float64Array.BYTES_PER_ELEMENT), 3 * count)
    this.out = arena.take(count * Float32Array.BYTES_PER_ELEMENT)
    this.clear()
  }

  clear(): void {
    this.#sums.fill(0)
  }

  /** Frame that leaves when the frame `entering` comes in; the mean is then that around `entering - half`. */
  leaving(entering: number): number {
    return entering - this.#period
  }

  /** Takes in the frame of index `entering` at `enterAddress` and drops the one at `leaveAddress`. */
  step(entering: number, enterAddress: number, leaveAddress: number): void {
    const period = this.#period
    const turn = entering % period
    const centre = (entering - this.half + period) % period
    this.#kernels.exports.upmixHannStep(
      enterAddress,
      leaveAddress,
      this.#sums.byteOffset,
      this.out,
      this.#count,
      this.#turns[turn] as number,
      this.#turns[period + turn] as number,
      this.#turns[centre] as number,
      this.#turns[period + centre] as number,
      1 / period,
    )
  }

  /** The same mean of a series of single numbers around `centre`. */
  of(series: Float64Array, centre: number): number {
    let sum = 0
    for (let n = -this.half; n <= this.half; n++) {
      const cosine = this.#turns[(n + this.#period) % this.#period] as number
      sum += (1 + cosine) * (series[centre + n] ?? 0)
    }
    return sum / this.#period
  }
}
