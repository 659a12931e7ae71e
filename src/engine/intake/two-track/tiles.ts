import { exp2, log2 } from '../../../domain/index.ts'
import type { Glances, LookFigure } from './evidence.ts'
import { GLANCES_PER_LOOK } from './grid.ts'
import type { PairSpectrum } from './pair-spectrum.ts'

const BAND_HZ = [100, 12000] as const
/** Where speech carries nearly all of its power. */
const SPEECH_HZ = [200, 4500] as const
const LINE_HZ = [20, 16000] as const
export const HISS_BAND_HZ = [4000, 12000] as const

/** Below this power (both tracks, as the transform of 4096 frames gives it) a tile is digital silence. */
const SILENT_TILE = 1e-7
/** Level difference 3 dB: the louder track has 2/3 of the power. */
const BALANCED = 1 / 3
/**
 * Where a surround signal is looked for. Encoders cut it near 7 kHz, and above 5 kHz synthetic cymbals and pads lie in
 * antiphase often enough to be taken for one. @source common practice
 */
const SURROUND_BAND_END_HZ = 5000
/** Within 1 dB and 30 degrees of a place, mostly coherent; within 0.35 dB and 10 degrees, nearly wholly coherent. */
const EVEN = { lean: 0.115, cosine: 0.866, coherence: 0.8 } as const
const SHARP = { lean: 0.04, cosine: 0.985, coherence: 0.9 } as const
/** A quarter of the circle. */
const QUARTER_COSINE = Math.SQRT1_2

/** Half the equivalent rectangular bandwidth. @source Glasberg and Moore, Hear. Res. 47 (1990) */
function halfErbHz(hz: number): number {
  return 0.5 * 24.7 * (0.00437 * hz + 1)
}

/** Bins where the bands begin: half an ERB each, two bins at least. */
function bandEdges(binHz: number): number[] {
  const edges: number[] = []
  for (let hz: number = BAND_HZ[0]; hz < BAND_HZ[1]; hz += Math.max(halfErbHz(hz), 2 * binHz)) {
    edges.push(Math.round(hz / binHz))
  }
  edges.push(Math.round(BAND_HZ[1] / binHz))
  return edges
}

type Bands = {
  readonly left: Float64Array
  readonly right: Float64Array
  readonly re: Float64Array
  readonly im: Float64Array
}

type Tile = {
  readonly hz: number
  readonly left: number
  readonly right: number
  readonly re: number
  readonly im: number
}

/** Adds up, look by look, how the tiles of two tracks lie to each other. A tile is half an ERB by about 0.1 s. */
export class TileCounter {
  readonly firstBin: number
  readonly endBin: number
  readonly #edges: readonly number[]
  readonly #binHz: number
  readonly #bands: readonly [Bands, Bands, Bands]
  readonly #looks: Readonly<Record<LookFigure, Float64Array>>
  readonly #glances: Glances

  constructor(binHz: number, looks: Readonly<Record<LookFigure, Float64Array>>, glances: Glances) {
    this.#binHz = binHz
    this.#edges = bandEdges(binHz)
    this.firstBin = Math.max(1, Math.floor(LINE_HZ[0] / binHz))
    this.endBin = Math.ceil(LINE_HZ[1] / binHz)
    const size = this.#edges.length - 1
    const bands = () => ({
      left: new Float64Array(size),
      right: new Float64Array(size),
      re: new Float64Array(size),
      im: new Float64Array(size),
    })
    this.#bands = [bands(), bands(), bands()]
    this.#looks = looks
    this.#glances = glances
  }

  /** Takes in glance `index` (-1 is the one before the segment) and tells the tiles of the glance before it. */
  take(spectrum: PairSpectrum, index: number): void {
    const bands = this.#bands[(index + 3) % 3]!
    this.#sumBands(spectrum, bands)
    if (index >= 1) this.#countTiles(index - 1)
  }

  #sumBands(spectrum: PairSpectrum, bands: Bands): void {
    const edges = this.#edges
    for (let band = 0; band < edges.length - 1; band++) {
      let left = 0
      let right = 0
      let re = 0
      let im = 0
      for (let bin = edges[band]!; bin < edges[band + 1]!; bin++) {
        left += spectrum.leftPower[bin]!
        right += spectrum.rightPower[bin]!
        re += spectrum.crossRe[bin]!
        im += spectrum.crossIm[bin]!
      }
      bands.left[band] = left
      bands.right[band] = right
      bands.re[band] = re
      bands.im[band] = im
    }
  }

  /** The tiles of a glance: weighted 1, 2, 1 with its neighbours, so that noise of one glance does not look coherent. */
  #countTiles(glance: number): void {
    const [before, now, after] = [0, 1, 2].map((step) => this.#bands[(glance + 2 + step) % 3]!) as [Bands, Bands, Bands]
    const look = Math.floor(glance / GLANCES_PER_LOOK)
    const mean = (key: keyof Bands, band: number) =>
      0.25 * before[key][band]! + 0.5 * now[key][band]! + 0.25 * after[key][band]!
    for (let band = 0; band < this.#edges.length - 1; band++) {
      const left = mean('left', band)
      const right = mean('right', band)
      if (left + right < SILENT_TILE) continue
      const re = mean('re', band)
      const tile = { hz: this.#edges[band]! * this.#binHz, left, right, re, im: mean('im', band) }
      this.#countTile(look, tile)
      this.#countSpeech(glance, tile)
    }
  }

  #countTile(look: number, { hz, left, right, re, im }: Tile): void {
    const looks = this.#looks
    // The fourth root of the power: soft sound between the loud counts too.
    const weight = Math.sqrt(Math.sqrt(left + right))
    const lean = Math.abs(left - right) / (left + right)
    const geometric = Math.sqrt(left * right) + 1e-30
    const cosine = re / geometric
    const isBalanced = lean < BALANCED
    looks.weight[look]! += weight
    if (cosine > 0.5) looks[isBalanced ? 'inPhase' : 'inPhaseAside'][look]! += weight
    if (cosine < -0.5) looks[isBalanced ? 'antiphase' : 'antiphaseAside'][look]! += weight
    if (hz > SURROUND_BAND_END_HZ) return
    looks.bandWeight[look]! += weight
    if (cosine < -0.5) looks[isBalanced ? 'bandAntiphase' : 'bandAntiphaseAside'][look]! += weight
    if (isBalanced) this.#countPlace(look, weight, lean, cosine, im / geometric)
  }

  /** Where a balanced tile stands on the circle of phases. */
  #countPlace(look: number, weight: number, lean: number, cosine: number, sine: number): void {
    const looks = this.#looks
    const coherence = Math.sqrt(cosine * cosine + sine * sine)
    if (coherence > 0.5) {
      if (-cosine > QUARTER_COSINE * coherence) looks.antiphaseQuarter[look]! += weight
      else if (Math.abs(sine) > QUARTER_COSINE * coherence) looks.sidewaysQuarter[look]! += weight / 2
    }
    for (const [name, limit] of [
      ['even', EVEN],
      ['sharp', SHARP],
    ] as const) {
      if (coherence < limit.coherence || lean > limit.lean) return
      if (-cosine > limit.cosine * coherence) looks[`${name}Antiphase`][look]! += weight
      else if (sine > limit.cosine * coherence) looks[`${name}Ahead`][look]! += weight
      else if (-sine > limit.cosine * coherence) looks[`${name}Behind`][look]! += weight
    }
  }

  /** Non-negative parts: what both have is the positive real cross power, at most what the softer track has. */
  #countSpeech(glance: number, { hz, left, right, re }: Tile): void {
    if (hz < SPEECH_HZ[0] || hz > SPEECH_HZ[1]) return
    const common = Math.max(0, Math.min(re, left, right))
    this.#glances.common[glance]! += common
    this.#glances.leftOnly[glance]! += left - common
    this.#glances.rightOnly[glance]! += right - common
  }
}

/** Looks for a line that stands alone in each track, and for the noise of the hiss band. */
export function countLinesAndHiss(
  spectrum: PairSpectrum,
  glance: number,
  looks: Readonly<Record<LookFigure, Float64Array>>,
  bins: { readonly firstBin: number; readonly endBin: number },
): void {
  const look = Math.floor(glance / GLANCES_PER_LOOK)
  const isFirst = glance % GLANCES_PER_LOOK === 0
  for (const side of ['left', 'right'] as const) {
    const power = spectrum[`${side}Power`]
    const line = strongestLine(power, bins.firstBin, bins.endBin, spectrum.binHz)
    const known = looks[`${side}Line`][look]!
    looks[`${side}Line`][look] = isFirst ? line.share : Math.min(known, line.share)
    looks[`${side}LineHz`][look] = line.hz
    const hiss = hissOf(power, spectrum)
    looks[`${side}Hiss`][look]! += hiss.power / GLANCES_PER_LOOK
    looks[`${side}Flatness`][look]! += hiss.flatness / GLANCES_PER_LOOK
  }
}

function strongestLine(power: Float32Array, firstBin: number, endBin: number, binHz: number) {
  let total = 0
  let best = firstBin + 2
  for (let bin = firstBin; bin < endBin; bin++) {
    total += power[bin]!
    if (power[bin]! > power[best]!) best = bin
  }
  if (total < SILENT_TILE) return { share: 0, hz: 0 }
  let line = 0
  for (let bin = Math.max(firstBin, best - 2); bin <= Math.min(endBin - 1, best + 2); bin++) line += power[bin]!
  // The exact place of a sine between two bins of a Hann window follows from the ratio of their magnitudes.
  const isAbove = power[best + 1]! > power[best - 1]!
  const ratio = Math.sqrt((isAbove ? power[best + 1]! : power[best - 1]!) / power[best]!)
  const offset = (2 * ratio - 1) / (ratio + 1)
  return { share: line / total, hz: (best + (isAbove ? offset : -offset)) * binHz }
}

/** Bins whose logarithms are taken as one, by their product. */
const PRODUCT_BINS = 8

function hissOf(power: Float32Array, spectrum: PairSpectrum): { readonly power: number; readonly flatness: number } {
  const first = Math.round(HISS_BAND_HZ[0] / spectrum.binHz)
  const groups = Math.floor((HISS_BAND_HZ[1] - HISS_BAND_HZ[0]) / spectrum.binHz / PRODUCT_BINS)
  let sum = 0
  let logs = 0
  for (let group = 0; group < groups; group++) {
    let product = 1
    for (let index = 0; index < PRODUCT_BINS; index++) {
      const value = power[first + group * PRODUCT_BINS + index]!
      sum += value
      product *= value
    }
    logs += log2(product)
  }
  // A Hann window of n frames turns a mean square of 1 into 3/8 n a bin; the positive bins hold half the power.
  const meanSquare = (2 * sum) / (0.375 * spectrum.length * spectrum.length)
  if (!(sum > 0) || logs === Number.NEGATIVE_INFINITY) return { power: meanSquare, flatness: 0 }
  const bins = groups * PRODUCT_BINS
  const geometric = log2(sum / bins) - logs / bins
  return { power: meanSquare, flatness: exp2(-geometric) }
}
