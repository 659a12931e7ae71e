import {
  framesPerHop,
  gainToDb,
  type LayoutName,
  loudnessOf,
  MOMENTARY_SECONDS,
  SHORT_TERM_SECONDS,
} from '../../domain/index.ts'
import { KLoudness, LivePeak } from '../../dsp/index.ts'
import { outputWeights } from './heard.ts'

/** What the meters say of what is heard, ahead of the monitor gain. */
export type MeterReading = {
  /** Of the last 400 ms; null until there are as many, and in silence. */
  readonly momentaryLkfs: number | null
  /** Of the last 3 s; null until there are as many, and in silence. */
  readonly shortTermLkfs: number | null
  /** Of each output in the last 100 to 200 ms; -Infinity in silence. */
  readonly peaksDbtp: readonly number[]
  /** Of each output in the last 3 s. */
  readonly heldPeaksDbtp: readonly number[]
}

const HOPS_PER_SECOND = 10
const MOMENTARY_HOPS = MOMENTARY_SECONDS * HOPS_PER_SECOND
const SHORT_TERM_HOPS = SHORT_TERM_SECONDS * HOPS_PER_SECOND

/**
 * Meters of what is heard, frame by frame: sliding windows that move by 100 ms.
 * @source EBU Tech 3341 clause 2.2; ITU-R BS.1770-5 Annex 2
 */
export class HeardMeter {
  readonly #loudness: KLoudness
  readonly #peaks: readonly LivePeak[]
  /** Linear: of the hop that has begun, and of the last whole ones, the newest last. */
  #begun: Float64Array
  readonly #hops: Float64Array[] = []

  /** @param layout of the bus: the loudspeakers, where there are as many outputs */
  constructor(sampleRateHz: number, layout: LayoutName, outputs: number) {
    this.#loudness = new KLoudness(sampleRateHz, outputWeights(layout, outputs), framesPerHop(sampleRateHz))
    this.#peaks = Array.from({ length: outputs }, () => new LivePeak())
    this.#begun = new Float64Array(outputs)
  }

  /** Takes one frame of the outputs. */
  add(frame: Float64Array): void {
    for (const [output, peak] of this.#peaks.entries()) {
      const height = peak.next(frame[output]!)
      if (height > this.#begun[output]!) this.#begun[output] = height
    }
    if (!this.#loudness.add(frame)) return
    this.#hops.push(this.#begun)
    if (this.#hops.length > SHORT_TERM_HOPS) this.#hops.shift()
    this.#begun = new Float64Array(this.#peaks.length)
  }

  read(): MeterReading {
    const peaksOf = (hops: readonly Float64Array[]) =>
      this.#peaks.map((_, output) => gainToDb(hops.reduce((peak, hop) => Math.max(peak, hop[output]!), 0)))
    return {
      momentaryLkfs: this.#loudnessOver(MOMENTARY_HOPS),
      shortTermLkfs: this.#loudnessOver(SHORT_TERM_HOPS),
      peaksDbtp: peaksOf([...this.#hops.slice(-1), this.#begun]),
      heldPeaksDbtp: peaksOf([...this.#hops, this.#begun]),
    }
  }

  #loudnessOver(hops: number): number | null {
    const { powers } = this.#loudness
    if (powers.length < hops) return null
    let sum = 0
    for (let i = powers.length - hops; i < powers.length; i++) sum += powers[i]!
    return sum === 0 ? null : loudnessOf(sum / hops)
  }
}
