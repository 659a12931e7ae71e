import { exp2, log2 } from '../../../domain/index.ts'
import { type BinGroups, type BinRange, type PairSpectrum, PRODUCT_BINS } from '../../../dsp/index.ts'
import type { Glances, LookFigure } from './evidence.ts'
import { GLANCES_PER_LOOK } from './grid.ts'

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

type Tile = {
  readonly hz: number
  readonly left: number
  readonly right: number
  readonly re: number
  readonly im: number
}

/** Adds up, look by look, how the tiles of two tracks lie to each other. A tile is half an ERB by about 0.1 s. */
export class TileCounter {
  /** The bins that lines are looked for in; the tiles lie within them. */
  readonly bins: BinRange
  readonly #spectrum: PairSpectrum
  readonly #bands: readonly [BinGroups, BinGroups, BinGroups]
  readonly #looks: Readonly<Record<LookFigure, Float64Array>>
  readonly #glances: Glances

  constructor(spectrum: PairSpectrum, looks: Readonly<Record<LookFigure, Float64Array>>, glances: Glances) {
    const { binHz } = spectrum
    this.#spectrum = spectrum
    this.bins = { first: Math.max(1, Math.floor(LINE_HZ[0] / binHz)), end: Math.ceil(LINE_HZ[1] / binHz) }
    const bands = () => spectrum.takeGroups(bandEdges(binHz))
    this.#bands = [bands(), bands(), bands()]
    this.#looks = looks
    this.#glances = glances
  }

  /** Takes in glance `index` (-1 is the one before the segment) and tells the tiles of the glance before it. */
  take(index: number): void {
    const bands = this.#bands[(index + 3) % 3]!
    bands.sums.fill(0)
    this.#spectrum.addToGroups(bands)
    if (index >= 1) this.#countTiles(index - 1)
  }

  /** The tiles of a glance: weighted 1, 2, 1 with its neighbours, so that noise of one glance does not look coherent. */
  #countTiles(glance: number): void {
    const before = this.#bands[(glance + 2) % 3]!.sums
    const { edges, sums: now } = this.#bands[glance % 3]!
    const after = this.#bands[(glance + 1) % 3]!.sums
    const look = Math.floor(glance / GLANCES_PER_LOOK)
    const mean = (at: number) => 0.25 * before[at]! + 0.5 * now[at]! + 0.25 * after[at]!
    for (let band = 0, at = 0; band < edges.length - 1; band++, at += 4) {
      const left = mean(at)
      const right = mean(at + 1)
      if (left + right < SILENT_TILE) continue
      const tile = { hz: edges[band]! * this.#spectrum.binHz, left, right, re: mean(at + 2), im: mean(at + 3) }
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
  bins: BinRange,
): void {
  const look = Math.floor(glance / GLANCES_PER_LOOK)
  const isFirst = glance % GLANCES_PER_LOOK === 0
  const lines = strongestLines(spectrum, bins)
  const hisses = hissOf(spectrum)
  for (const [index, side] of (['left', 'right'] as const).entries()) {
    const line = lines[index]!
    const known = looks[`${side}Line`][look]!
    looks[`${side}Line`][look] = isFirst ? line.share : Math.min(known, line.share)
    looks[`${side}LineHz`][look] = line.hz
    const hiss = hisses[index]!
    looks[`${side}Hiss`][look]! += hiss.power / GLANCES_PER_LOOK
    looks[`${side}Flatness`][look]! += hiss.flatness / GLANCES_PER_LOOK
  }
}

const SIDES = [0, 1] as const

function strongestLines(spectrum: PairSpectrum, range: BinRange): { readonly share: number; readonly hz: number }[] {
  const found = spectrum.strongest(range)
  return SIDES.map((side) => {
    const total = found[side]!
    const best = found[2 + side]!
    if (total < SILENT_TILE) return { share: 0, hz: 0 }
    const power = (bin: number) => spectrum.bins[4 * bin + side]!
    let line = 0
    for (let bin = Math.max(range.first, best - 2); bin <= Math.min(range.end - 1, best + 2); bin++) line += power(bin)
    // The exact place of a sine between two bins of a Hann window follows from the ratio of their magnitudes.
    const isAbove = power(best + 1) > power(best - 1)
    const ratio = Math.sqrt((isAbove ? power(best + 1) : power(best - 1)) / power(best))
    const offset = (2 * ratio - 1) / (ratio + 1)
    return { share: line / total, hz: (best + (isAbove ? offset : -offset)) * spectrum.binHz }
  })
}

function hissOf(spectrum: PairSpectrum): { readonly power: number; readonly flatness: number }[] {
  const first = Math.round(HISS_BAND_HZ[0] / spectrum.binHz)
  const groups = Math.floor((HISS_BAND_HZ[1] - HISS_BAND_HZ[0]) / spectrum.binHz / PRODUCT_BINS)
  const found = spectrum.logarithms(first, groups)
  return SIDES.map((side) => {
    const sum = found[side]!
    const logs = found[2 + side]!
    // A Hann window of n frames turns a mean square of 1 into 3/8 n a bin; the positive bins hold half the power.
    const meanSquare = (2 * sum) / (0.375 * spectrum.length * spectrum.length)
    if (!(sum > 0) || logs === Number.NEGATIVE_INFINITY) return { power: meanSquare, flatness: 0 }
    const bins = groups * PRODUCT_BINS
    const geometric = log2(sum / bins) - logs / bins
    return { power: meanSquare, flatness: exp2(-geometric) }
  })
}
