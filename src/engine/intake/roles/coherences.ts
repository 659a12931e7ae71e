/** Coherence is taken over this range: below it rooms make everything coherent, above it little sounds. */
const FROM_HZ = 200
const TO_HZ = 10000
/** Bins this far (60 dB) below a channel's strongest say nothing. */
const FAINTEST_SHARE = 1e-6
/** Left and right that are nearly one signal cannot be told apart as sources. */
const REGULARISER = 1e-6

/** Cross-spectra of channels, averaged over the windows of a segment. */
export class Coherences {
  readonly #pairs: readonly (readonly [number, number])[]
  readonly #from: number
  readonly #to: number
  readonly #powers: readonly Float64Array[]
  readonly #re: readonly Float64Array[]
  readonly #im: readonly Float64Array[]

  constructor(channelCount: number, pairs: readonly (readonly [number, number])[], hzPerBin: number, binCount: number) {
    this.#pairs = pairs
    this.#from = Math.max(1, Math.round(FROM_HZ / hzPerBin))
    this.#to = Math.min(binCount - 1, Math.round(TO_HZ / hzPerBin))
    this.#powers = Array.from({ length: channelCount }, () => new Float64Array(binCount))
    this.#re = pairs.map(() => new Float64Array(binCount))
    this.#im = pairs.map(() => new Float64Array(binCount))
  }

  add(res: readonly Float32Array[], ims: readonly Float32Array[]): void {
    const [from, to] = [this.#from, this.#to]
    this.#powers.forEach((powers, channel) => {
      const re = res[channel]!
      const im = ims[channel]!
      for (let k = from; k < to; k++) powers[k]! += re[k]! * re[k]! + im[k]! * im[k]!
    })
    this.#pairs.forEach(([a, b], index) => {
      const [aRe, aIm, bRe, bIm] = [res[a]!, ims[a]!, res[b]!, ims[b]!]
      const re = this.#re[index]!
      const im = this.#im[index]!
      for (let k = from; k < to; k++) {
        re[k]! += aRe[k]! * bRe[k]! + aIm[k]! * bIm[k]!
        im[k]! += aIm[k]! * bRe[k]! - aRe[k]! * bIm[k]!
      }
    })
  }

  cross(pair: number): {
    readonly re: Float64Array
    readonly im: Float64Array
    readonly from: number
    readonly to: number
  } {
    return { re: this.#re[pair]!, im: this.#im[pair]!, from: this.#from, to: this.#to }
  }

  /** Mean magnitude-squared coherence, and its in-phase part, over the bins where both channels sound. */
  coherence(pair: number): { readonly coherence: number; readonly inPhase: number } {
    const [a, b] = this.#pairs[pair]!
    const [pa, pb] = [this.#powers[a]!, this.#powers[b]!]
    const [floorA, floorB] = [faintest(pa), faintest(pb)]
    let sum = 0
    let inPhase = 0
    let count = 0
    for (let k = this.#from; k < this.#to; k++) {
      if (!(pa[k]! > floorA && pb[k]! > floorB)) continue
      const re = this.#re[pair]![k]!
      const im = this.#im[pair]![k]!
      const powers = pa[k]! * pb[k]!
      sum += (re * re + im * im) / powers
      inPhase += re / Math.sqrt(powers)
      count++
    }
    return { coherence: sum / Math.max(1, count), inPhase: inPhase / Math.max(1, count) }
  }

  /** Share of a channel's energy that steady filters on channels 0 and 1 (L, R) explain. */
  derivedShare(channel: number): number {
    const [pl, pr, py] = [this.#powers[0]!, this.#powers[1]!, this.#powers[channel]!]
    const lr = this.#pairs.findIndex(([a, b]) => a === 0 && b === 1)
    const ly = this.#pairs.findIndex(([a, b]) => a === 0 && b === channel)
    const ry = this.#pairs.findIndex(([a, b]) => a === 1 && b === channel)
    let explained = 0
    let total = 0
    for (let k = this.#from; k < this.#to; k++) {
      const [lrRe, lrIm] = [this.#re[lr]![k]!, this.#im[lr]![k]!]
      const [lyRe, lyIm] = [this.#re[ly]![k]!, this.#im[ly]![k]!]
      const [ryRe, ryIm] = [this.#re[ry]![k]!, this.#im[ry]![k]!]
      const [l, r] = [pl[k]! * (1 + REGULARISER) + 1e-20, pr[k]! * (1 + REGULARISER) + 1e-20]
      const det = l * r - (lrRe * lrRe + lrIm * lrIm)
      if (!(det > 0)) continue
      // y^H S^-1 y for the two-by-two spectral matrix S of L and R.
      const ly2 = lyRe * lyRe + lyIm * lyIm
      const ry2 = ryRe * ryRe + ryIm * ryIm
      const crossed = lrRe * (lyRe * ryRe + lyIm * ryIm) + lrIm * (lyIm * ryRe - lyRe * ryIm)
      explained += Math.min(py[k]!, Math.max(0, (r * ly2 + l * ry2 - 2 * crossed) / det))
      total += py[k]!
    }
    return total > 0 ? explained / total : 0
  }
}

function faintest(powers: Float64Array): number {
  return powers.reduce((highest, power) => Math.max(highest, power), 0) * FAINTEST_SHARE
}
