import { TRUE_PEAK_PHASES } from './true-peak.ts'

const TAPS = 12
const HALF = TAPS / 2

/** Of the two phases, the sums and differences of mirrored taps: they give the other two phases too. */
const EVEN = TRUE_PEAK_PHASES.map((taps) => taps.slice(0, HALF).map((tap, k) => (tap + taps[TAPS - 1 - k]!) / 2))
const ODD = TRUE_PEAK_PHASES.map((taps) => taps.slice(0, HALF).map((tap, k) => (tap - taps[TAPS - 1 - k]!) / 2))

/**
 * True peak of one channel, frame by frame: for what is heard a frame at a time. Programmes are measured by `Meter`,
 * which is many times faster and finds the same.
 * @source ITU-R BS.1770-5 Annex 2
 */
export class LivePeak {
  /** The last twelve samples, twice, so that they always lie in one piece. */
  readonly #samples = new Float64Array(2 * TAPS)
  #newest = 0

  /** The highest of this sample and of the four points that it completes; linear. */
  next(sample: number): number {
    const samples = this.#samples
    this.#newest = (this.#newest + 1) % TAPS
    samples[this.#newest] = sample
    samples[this.#newest + TAPS] = sample
    const last = this.#newest + TAPS
    let highest = Math.abs(sample)
    for (let phase = 0; phase < EVEN.length; phase++) {
      const [evenTaps, oddTaps] = [EVEN[phase]!, ODD[phase]!]
      let even = 0
      let odd = 0
      for (let k = 0; k < HALF; k++) {
        const late = samples[last - k]!
        const early = samples[last - TAPS + 1 + k]!
        even += (late + early) * evenTaps[k]!
        odd += (late - early) * oddTaps[k]!
      }
      highest = Math.max(highest, Math.abs(even) + Math.abs(odd))
    }
    return highest
  }
}
