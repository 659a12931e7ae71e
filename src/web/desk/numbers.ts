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
  windowMeans,
} from '../../domain/index.ts'
import type { PartEnergies, TitleHead } from '../../protocol/index.ts'
import type { OpenedTitle } from './calls.ts'

/** Loudness over time as powers, a value for each 100 ms of the file: that of the window around it. NaN: no programme. */
export type Curves = { readonly shortTerm: Float64Array; readonly momentary: Float64Array }

const SHORT_TERM_HOPS = 30
const MOMENTARY_HOPS = 4
/** Of the fold-down no spec asks for these. */
const NO_WINDOWS = { loudnessRangeLu: null, maxMomentaryLkfs: null, maxShortTermLkfs: null }

type Part = PartEnergies & {
  readonly firstHop: number
  readonly hops: Float64Array
  /** Means of its windows without gains; made once for each length. */
  readonly atRest: (length: number) => Float64Array
}

/** Everything that is asked of a title's numbers while trims are moved; built once, after the title was measured. */
export class TitleNumbers {
  readonly hopCount: number
  readonly hopFrames: number
  readonly #head: TitleHead
  readonly #parts: readonly Part[]
  readonly #mix: WhatIf
  readonly #foldDown: WhatIf | null

  constructor({ head, parts }: OpenedTitle) {
    const { sampleRateHz, frameCount } = head.ground
    this.#head = head
    this.hopFrames = framesPerHop(sampleRateHz)
    this.hopCount = Math.ceil(frameCount / this.hopFrames)
    const startOf = (index: number) => head.parts[index]!.startFrame
    this.#parts = parts.map((part, index) => {
      const hops = toHops(part.powers10ms)
      return { ...part, firstHop: Math.round(startOf(index) / this.hopFrames), hops, atRest: madeOnce(hops) }
    })
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
    const folded = this.#foldDown?.totalsUnder([points])
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
            : { ...loRo, ...NO_WINDOWS, ...folded, maxTruePeakDbtp: this.#truePeak(points, 'foldDownTruePeak100ms') },
      },
    }
  }

  /** Loudness over time under these gains, for drawing. */
  curves(points: Float64Array | null): Curves {
    return { shortTerm: this.#means(points, SHORT_TERM_HOPS), momentary: this.#means(points, MOMENTARY_HOPS) }
  }

  /** The mean of each window, at the hop in its middle. */
  #means(points: Float64Array | null, length: number): Float64Array {
    const means = new Float64Array(this.hopCount).fill(Number.NaN)
    for (const { hops, firstHop, atRest } of this.#parts) {
      const rest = atRest(length)
      const middle = firstHop + (length >> 1)
      if (points === null) means.set(rest, middle)
      else writeMeans(means.subarray(middle), { hops, rest, points: points.subarray(firstHop) }, length)
    }
    return means
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
    const gainOf = heldWhileSame(dbToGain)
    for (const part of this.#parts) {
      const peaks = part[name]
      for (let hop = 0; hop < peaks.length; hop++) {
        const peak = peaks[hop]! * gainOf(points[Math.min(points.length - 1, part.firstHop + hop)]!)
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

/** Gains hold still for most of the time, and a power of ten is much work. */
function heldWhileSame(ratioOf: (db: number) => number): (db: number) => number {
  let [heldDb, ratio] = [0, 1]
  return (db) => {
    if (db !== heldDb) [heldDb, ratio] = [db, ratioOf(db)]
    return ratio
  }
}

function madeOnce(hops: Float64Array): (length: number) => Float64Array {
  const made = new Map<number, Float64Array>()
  return (length) => {
    const means = made.get(length) ?? windowMeans(hops, length)
    made.set(length, means)
    return means
  }
}

/** Windows that lie under one gain are those at rest times that gain; the others are summed up. */
function writeMeans(
  into: Float64Array,
  { hops, rest, points }: Pick<Part, 'hops'> & { readonly rest: Float64Array; readonly points: Float64Array },
  length: number,
): void {
  const gainOf = heldWhileSame(dbToPower)
  /** From where on the gain is that of the window's last hop. */
  let heldFrom = 0
  for (let hop = 1; hop < length - 1; hop++) if (points[hop] !== points[hop - 1]) heldFrom = hop
  for (let first = 0; first < rest.length; first++) {
    const last = first + length - 1
    if (points[last] !== points[last - 1]) heldFrom = last
    if (heldFrom <= first) {
      into[first] = rest[first]! * gainOf(points[last] ?? 0)
      continue
    }
    let sum = 0
    for (let hop = first; hop <= last; hop++) sum += hops[hop]! * gainOf(points[hop] ?? 0)
    into[first] = sum / length
  }
}
