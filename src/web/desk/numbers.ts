import {
  dbToGain,
  dbToPower,
  framesPerFineHop,
  framesPerHop,
  gainToDb,
  type Measurements,
  type MixerGain,
  toHops,
  trimPoints,
  WhatIf,
} from '../../domain/index.ts'
import type { PartEnergies, TitleHead } from '../../protocol/index.ts'
import type { OpenedTitle } from './calls.ts'

/** Loudness over time as powers, a value for each 100 ms of the file: that of the window around it. NaN: no programme. */
export type Curves = { readonly shortTerm: Float64Array; readonly momentary: Float64Array }

const SHORT_TERM_HOPS = 30
const MOMENTARY_HOPS = 4

/** Everything that is asked of a title's numbers while trims are moved; built once, after the title was measured. */
export class TitleNumbers {
  readonly hopCount: number
  readonly hopFrames: number
  readonly #head: TitleHead
  readonly #parts: readonly (PartEnergies & { readonly firstHop: number; readonly hops: Float64Array })[]
  readonly #mix: WhatIf
  readonly #foldDown: WhatIf | null

  constructor({ head, parts }: OpenedTitle) {
    const { sampleRateHz, frameCount } = head.ground
    this.#head = head
    this.hopFrames = framesPerHop(sampleRateHz)
    this.hopCount = Math.ceil(frameCount / this.hopFrames)
    const startOf = (index: number) => head.parts[index]!.startFrame
    this.#parts = parts.map((part, index) => ({
      ...part,
      firstHop: Math.round(startOf(index) / this.hopFrames),
      hops: toHops(part.powers10ms),
    }))
    const stretch = (part: PartEnergies, index: number, powers10ms: Float64Array) => ({
      powers10ms,
      file: 0,
      firstFineHop: Math.round(startOf(index) / framesPerFineHop(sampleRateHz)),
      isSpeech100ms: part.isSpoken100ms.length === 0 ? null : part.isSpoken100ms,
    })
    this.#mix = new WhatIf(parts.map((part, index) => stretch(part, index, part.powers10ms)))
    this.#foldDown = parts.every(({ foldDown10ms }) => foldDown10ms.length > 0)
      ? new WhatIf(parts.map((part, index) => stretch(part, index, part.foldDown10ms)))
      : null
  }

  /** The gain of the trims at each 100 ms, in dB; null without trims. */
  points(trims: readonly MixerGain[]): Float64Array | null {
    return trimPoints(trims, this.hopCount, this.hopFrames)
  }

  /** The figures of the programme under these gains, as if it were measured again. */
  under(points: Float64Array | null): Measurements {
    const { measurements } = this.#head
    if (points === null) return measurements
    const mix = this.#mix.under([points])
    const folded = this.#foldDown?.under([points])
    const { loRo } = measurements.foldDown
    return {
      ...measurements,
      ...loudnessOf(mix),
      maxTruePeakDbtp: this.#truePeak(points, 'truePeak100ms'),
      foldDown: {
        ...measurements.foldDown,
        loRo:
          loRo === null || folded === undefined
            ? loRo
            : { ...loRo, ...loudnessOf(folded), maxTruePeakDbtp: this.#truePeak(points, 'foldDownTruePeak100ms') },
      },
    }
  }

  /** Loudness over time under these gains, for drawing. */
  curves(points: Float64Array | null): Curves {
    const shortTerm = new Float64Array(this.hopCount).fill(Number.NaN)
    const momentary = new Float64Array(this.hopCount).fill(Number.NaN)
    for (const { hops, firstHop } of this.#parts) {
      const heard = points === null ? hops : underGains(hops, points, firstHop)
      writeMeans(shortTerm, heard, firstHop, SHORT_TERM_HOPS)
      writeMeans(momentary, heard, firstHop, MOMENTARY_HOPS)
    }
    return { shortTerm, momentary }
  }

  /** Level of a channel as mean square, for each 100 ms of the file; 0 outside the programme. */
  channelPowers(channel: number, channelCount: number): Float32Array {
    const powers = new Float32Array(this.hopCount)
    for (const { channels100ms, firstHop } of this.#parts) {
      const count = Math.min(channels100ms.length / channelCount, this.hopCount - firstHop)
      for (let hop = 0; hop < count; hop++) powers[firstHop + hop] = channels100ms[hop * channelCount + channel]!
    }
    return powers
  }

  /** 1 where somebody speaks, for each 100 ms of the file; null where nobody listened. */
  speech(): Uint8Array | null {
    if (this.#parts.some(({ isSpeech100ms }) => isSpeech100ms.length === 0)) return null
    const marks = new Uint8Array(this.hopCount)
    for (const { isSpeech100ms, firstHop } of this.#parts) marks.set(isSpeech100ms, firstHop)
    return marks
  }

  #truePeak(points: Float64Array, name: 'truePeak100ms' | 'foldDownTruePeak100ms'): number | null {
    let highest = 0
    for (const part of this.#parts) {
      const peaks = part[name]
      for (let hop = 0; hop < peaks.length; hop++) {
        const gainDb = points[Math.min(points.length - 1, part.firstHop + hop)]!
        const peak = gainDb === 0 ? peaks[hop]! : peaks[hop]! * dbToGain(gainDb)
        if (peak > highest) highest = peak
      }
    }
    return highest === 0 ? null : gainToDb(highest)
  }
}

function loudnessOf(figures: ReturnType<WhatIf['under']>) {
  return {
    programmeLoudnessLkfs: figures.programmeLoudnessLkfs,
    loudnessRangeLu: figures.loudnessRangeLu,
    maxMomentaryLkfs: figures.momentary?.loudnessLkfs ?? null,
    maxShortTermLkfs: figures.shortTerm?.loudnessLkfs ?? null,
    dialogueLoudnessLkfs: figures.dialogueLoudnessLkfs,
  }
}

function underGains(hops: Float64Array, points: Float64Array, firstHop: number): Float64Array {
  return hops.map((power, hop) => {
    const gainDb = points[firstHop + hop] ?? 0
    return gainDb === 0 ? power : power * dbToPower(gainDb)
  })
}

/** Writes the mean of each window to the hop in its middle. */
function writeMeans(into: Float64Array, hops: Float64Array, firstHop: number, length: number): void {
  const middle = firstHop + (length >> 1)
  for (let hop = 0; hop + length <= hops.length; hop++) {
    let sum = 0
    for (let i = hop; i < hop + length; i++) sum += hops[i]!
    into[middle + hop] = sum / length
  }
}
