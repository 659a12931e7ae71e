import { kBiquads } from './meter-weighting.ts'

/**
 * Mean squares of the K-weighted sum of a few channels, frame by frame: for what is heard a frame at a time and measured
 * on the way. Programmes are measured by `Meter`, which is many times faster and measures the same.
 * @source ITU-R BS.1770-5 Annex 1, Tables 1 and 2
 */
export class KLoudness {
  /** Of each whole hop so far. */
  readonly powers: number[] = []
  readonly #weights: readonly number[]
  readonly #hopFrames: number
  readonly #by: ReturnType<typeof kBiquads>
  readonly #state: Float64Array
  #sum = 0
  #count = 0

  /** @param weights of the channels, 0 for one that does not count */
  constructor(sampleRateHz: number, weights: readonly number[], hopFrames: number) {
    this.#weights = weights
    this.#hopFrames = hopFrames
    this.#by = kBiquads(sampleRateHz)
    this.#state = new Float64Array(4 * weights.length)
  }

  /** Adds one frame; true where it completed a hop. */
  add(frame: ArrayLike<number>): boolean {
    const { shelf, highPass } = this.#by
    const state = this.#state
    for (let channel = 0; channel < this.#weights.length; channel++) {
      const weight = this.#weights[channel] as number
      if (weight === 0) continue
      const at = 4 * channel
      const x = frame[channel] as number
      const y = shelf.b0 * x + (state[at] as number)
      state[at] = shelf.b1 * x - shelf.a1 * y + (state[at + 1] as number)
      state[at + 1] = shelf.b2 * x - shelf.a2 * y
      const z = y + (state[at + 2] as number)
      state[at + 2] = -2 * y - highPass.a1 * z + (state[at + 3] as number)
      state[at + 3] = y - highPass.a2 * z
      this.#sum += weight * z * z
    }
    this.#count += 1
    if (this.#count < this.#hopFrames) return false
    this.powers.push(this.#sum / this.#count)
    this.#sum = 0
    this.#count = 0
    return true
  }
}
