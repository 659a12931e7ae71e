import type { BinGroups, PairSpectrum } from '../../../dsp/index.ts'
import type { FineDelays } from './evidence.ts'
import { GLANCES_PER_LOOK, LOOKS_PER_FINE_CELL } from './grid.ts'
import { turnBy } from './turn.ts'

/** Delays of the right track that are tried: -104 .. +104 us in steps of 8 us. */
export const DELAY_STEP_SECONDS = 8e-6
export const DELAY_STEPS = 27
export const NO_DELAY_STEP = (DELAY_STEPS - 1) / 2

const BAND_HZ = [60, 16000] as const
/** Below 1 kHz a microsecond turns the phase by too little; near the top of the band there is mostly noise. */
const DELAY_BAND_HZ = [1000, 14000] as const
const GLANCES_PER_CELL = GLANCES_PER_LOOK * LOOKS_PER_FINE_CELL
/** Neighbouring bins that are judged as one: 47 Hz. */
const BINS_PER_GROUP = 4
const SILENT_GROUP = 1e-5
/** A group says something when more than half of its power is coherent; its say is held at 200 to 1. */
const LEAST_COHERENCE = 0.5
const MOST_COHERENCE = 0.995
/** Level difference 3 dB. */
const BALANCED = 1 / 3

/**
 * Correlates two tracks at small delays, cell by cell (0.4 s), from their mean cross spectrum.
 * The curve takes coherent, level-balanced groups of bins alone, weighted by coherence / (1 - coherence): the maximum
 * likelihood estimate of a delay under noise. @source Hannan and Thomson, Biometrika 60 (1973)
 */
export class FineDelayCounter {
  readonly firstBin: number
  readonly endBin: number
  readonly #spectrum: PairSpectrum
  readonly #fine: FineDelays
  readonly #groups: BinGroups
  readonly #groupCount: number
  /** Cosine and sine by group and delay. */
  readonly #turns: Float64Array

  constructor(spectrum: PairSpectrum, fine: FineDelays) {
    const { binHz } = spectrum
    this.#spectrum = spectrum
    this.#fine = fine
    this.firstBin = Math.max(1, Math.round(BAND_HZ[0] / binHz))
    this.endBin = Math.round(BAND_HZ[1] / binHz)
    const groups = Math.floor((this.endBin - this.firstBin) / BINS_PER_GROUP)
    const edges = Array.from({ length: groups + 1 }, (_, group) => this.firstBin + group * BINS_PER_GROUP)
    this.#groups = spectrum.takeGroups(edges)
    this.#groupCount = groups
    this.#turns = new Float64Array(groups * DELAY_STEPS * 2)
    for (let group = 0; group < groups; group++) {
      for (let step = 0; step < DELAY_STEPS; step++) {
        const seconds = (step - NO_DELAY_STEP) * DELAY_STEP_SECONDS
        const { re, im } = turnBy(2 * Math.PI * this.#groupHz(group) * seconds)
        this.#turns[2 * (group * DELAY_STEPS + step)] = re
        this.#turns[2 * (group * DELAY_STEPS + step) + 1] = im
      }
    }
  }

  #groupHz(group: number): number {
    return (this.firstBin + group * BINS_PER_GROUP + (BINS_PER_GROUP - 1) / 2) * this.#spectrum.binHz
  }

  take(glance: number): void {
    this.#spectrum.addToGroups(this.#groups)
    if (glance % GLANCES_PER_CELL === GLANCES_PER_CELL - 1) this.finish(Math.floor(glance / GLANCES_PER_CELL))
  }

  /** Tells a cell and begins the next one. */
  finish(cell: number): void {
    const all = new Float64Array(DELAY_STEPS)
    const curve = this.#fine.curves.subarray(cell * DELAY_STEPS, (cell + 1) * DELAY_STEPS)
    let leftSum = 0
    let rightSum = 0
    const { sums } = this.#groups
    for (let group = 0; group < this.#groupCount; group++) {
      const left = sums[4 * group]!
      const right = sums[4 * group + 1]!
      const re = sums[4 * group + 2]!
      const im = sums[4 * group + 3]!
      leftSum += left
      rightSum += right
      const weight = this.#weightOf(group, left, right, re * re + im * im)
      this.#fine.weights[cell]! += weight
      const scale = weight / (Math.sqrt(re * re + im * im) + 1e-30)
      for (let step = 0, at = 2 * group * DELAY_STEPS; step < DELAY_STEPS; step++, at += 2) {
        const value = re * this.#turns[at]! + im * this.#turns[at + 1]!
        all[step]! += value
        curve[step]! += scale * value
      }
    }
    const best = all.reduce((most, value) => (Math.abs(value) > Math.abs(most) ? value : most), 0)
    this.#fine.alignedRho[cell] = best / (Math.sqrt(leftSum * rightSum) + 1e-30)
    sums.fill(0)
  }

  #weightOf(group: number, left: number, right: number, crossSquare: number): number {
    const hz = this.#groupHz(group)
    if (hz < DELAY_BAND_HZ[0] || hz > DELAY_BAND_HZ[1] || left + right < SILENT_GROUP) return 0
    if (Math.abs(left - right) > BALANCED * (left + right)) return 0
    const coherence = Math.min(MOST_COHERENCE, crossSquare / (left * right + 1e-30))
    return coherence < LEAST_COHERENCE ? 0 : coherence / (1 - coherence)
  }
}
