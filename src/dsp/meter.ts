import {
  assert,
  BYTES_PER_SAMPLE,
  type ChannelPeaks,
  FINE_HOPS_PER_HOP,
  FOLD_DOWN_K,
  framesPerFineHop,
  framesPerHop,
  hasFoldDown,
  LAYOUTS,
  type LayoutName,
  loudnessWeight,
  type Measured,
  type SampleEncoding,
} from '../domain/index.ts'
import type { Kernels } from './kernels.ts'
import { GrowingSeries } from './meter-series.ts'
import { type KWeighting, kWeighting } from './meter-weighting.ts'
import { foldedTaps } from './true-peak.ts'

export interface MeterExports {
  readonly meterPlanBytes: () => number
  readonly meterPlan: (
    plan: number,
    encoding: number,
    channelCount: number,
    fineHopFrames: number,
    planeBytes: number,
    coefficients: number,
    taps: number,
    peaks: number,
    energyTable: number,
    peakTable: number,
    truePeakTable: number,
  ) => void
  readonly meterStart: (plan: number) => void
  readonly meterRun: (plan: number, source: number, frameCount: number) => number
  readonly meterFinish: (plan: number, ringsOut: number) => void
}

/** What comes in: interleaved PCM as it lies in a file, or one plane of float64 for each channel. */
export type MeterInput = SampleEncoding | 'planes'

export type MeterShape = {
  readonly sampleRateHz: number
  readonly layout: LayoutName
  readonly input: MeterInput
  /** The most frames that one `run` takes. */
  readonly capacityFrames: number
  /** The frame of the programme that is counted first, a multiple of 100 ms. */
  readonly firstFrame: number
  /** Keep the true peak of every 100 ms too; every run but the last is then a whole number of 100 ms long. */
  readonly peakHistory?: boolean
}

const INPUT_CODE: Readonly<Record<MeterInput, number>> = {
  int16: 0,
  int24: 1,
  int32: 2,
  float32: 3,
  float64: 4,
  planes: 5,
}

/** The kernel reads pairs of samples, and up to this much beyond the last one. */
const OVERREAD_BYTES = 16

/** The table of peaks: of every lane the sample peak, then its frame, the true peak, its frame. */
const PEAK_FIELDS = 4

const BYTES_PER_FLOAT64 = 8

/** Lanes of kernel frames: channels in the order of 7.1, then Lo and Ro. 5.0 leaves the lane of the LFE empty. */
const MOST_LANES = 10

/**
 * Measures a stretch of programme in one pass: feed the frames before it (200 ms let the filters settle to 1e-13 LU),
 * `endWarmUp`, feed the stretch, `finish`. The result does not depend on how the frames are cut into runs.
 * Works in memory of `kernels.arena`; whoever made it gives it back by mark and release.
 * @source ITU-R BS.1770-5 Annex 1 (K-weighting, channel weights) and Annex 2 (true peak)
 */
export class Meter {
  /** Interleaved input: fill from the start, then `run`. Empty where the input is planes. */
  readonly pcm: Uint8Array
  /** Planar input in channel order: fill from the start, then `run`. Empty where the input is PCM. */
  readonly planes: readonly Float64Array[]

  readonly #kernels: Kernels
  readonly #shape: MeterShape
  readonly #lanes: Lanes
  readonly #weighting: KWeighting
  readonly #plan: number
  readonly #source: number
  readonly #energyTable: Float64Array
  readonly #peakTable: Float64Array
  readonly #truePeakTable: Float64Array | null
  readonly #peaks: Float64Array

  #frameCount = 0
  #nonFiniteCount = 0
  #hopSums: Float64Array
  #fineHopsInHop = 0
  readonly #programme = new GrowingSeries()
  readonly #foldDown = new GrowingSeries()
  readonly #channels = new GrowingSeries()
  readonly #linkedPeaks = new GrowingSeries()
  readonly #lfePeaks = new GrowingSeries()
  readonly #truePeaks = new GrowingSeries()
  readonly #foldDownTruePeaks = new GrowingSeries()

  constructor(kernels: Kernels, shape: MeterShape) {
    const { sampleRateHz, layout, input, capacityFrames, firstFrame } = shape
    const channelCount = LAYOUTS[layout].length
    assert(firstFrame % framesPerHop(sampleRateHz) === 0, 'a measured stretch starts on the 100 ms grid')
    this.#kernels = kernels
    this.#shape = shape
    this.#lanes = lanesOf(layout)
    this.#weighting = kWeighting(sampleRateHz)
    this.#hopSums = new Float64Array(channelCount)
    const { arena, memory, exports } = kernels
    const take = (count: number) => {
      return new Float64Array(memory.buffer, arena.take(count * BYTES_PER_FLOAT64), count)
    }
    this.#energyTable = take((Math.floor(capacityFrames / framesPerFineHop(sampleRateHz)) + 1) * MOST_LANES)
    this.#peakTable = take((Math.floor(capacityFrames / framesPerHop(sampleRateHz)) + 1) * MOST_LANES)
    this.#truePeakTable = shape.peakHistory === true ? take(this.#peakTable.length) : null
    this.#peaks = take(MOST_LANES * PEAK_FIELDS)
    const coefficients = take(14)
    coefficients.set(pairsOf(this.#weighting))
    const taps = foldedTaps()
    const tapsAddress = arena.take(taps.byteLength)
    new Float32Array(memory.buffer, tapsAddress, taps.length).set(taps)
    this.#plan = arena.take(exports.meterPlanBytes())
    const isPlanar = input === 'planes'
    const planeBytes = isPlanar ? capacityFrames * BYTES_PER_FLOAT64 : 0
    const sourceBytes = isPlanar
      ? planeBytes * channelCount
      : capacityFrames * channelCount * BYTES_PER_SAMPLE[input] + OVERREAD_BYTES
    this.#source = arena.take(sourceBytes)
    this.pcm = new Uint8Array(memory.buffer, this.#source, isPlanar ? 0 : sourceBytes - OVERREAD_BYTES)
    this.planes = isPlanar
      ? LAYOUTS[layout].map(
          (_, channel) => new Float64Array(memory.buffer, this.#source + channel * planeBytes, capacityFrames),
        )
      : []
    exports.meterPlan(
      this.#plan,
      INPUT_CODE[input],
      channelCount,
      framesPerFineHop(sampleRateHz),
      planeBytes,
      coefficients.byteOffset,
      tapsAddress,
      this.#peaks.byteOffset,
      this.#energyTable.byteOffset,
      this.#peakTable.byteOffset,
      this.#truePeakTable?.byteOffset ?? 0,
    )
  }

  /** Takes the first `frameCount` frames of the input. */
  run(frameCount: number): void {
    assert(frameCount <= this.#shape.capacityFrames, `a run of ${frameCount} frames fits the meter`)
    const hopFrames = framesPerHop(this.#shape.sampleRateHz)
    assert(this.#truePeakTable === null || this.#frameCount % hopFrames === 0, 'a run starts on the 100 ms grid')
    this.#nonFiniteCount += this.#kernels.exports.meterRun(this.#plan, this.#source, frameCount)
    const before = this.#frameCount
    this.#frameCount += frameCount
    const { sampleRateHz } = this.#shape
    const rowsSince = (frames: number) => Math.floor(this.#frameCount / frames) - Math.floor(before / frames)
    this.#keepEnergies(rowsSince(framesPerFineHop(sampleRateHz)))
    this.#keepPeaks(rowsSince(hopFrames))
  }

  /** Forgets what was measured so far but not the memory of the filters: the next frame is `firstFrame`. */
  endWarmUp(): void {
    this.#kernels.exports.meterStart(this.#plan)
    this.#frameCount = 0
    this.#nonFiniteCount = 0
    this.#hopSums.fill(0)
    this.#fineHopsInHop = 0
    const peaks = [this.#linkedPeaks, this.#lfePeaks, this.#truePeaks, this.#foldDownTruePeaks]
    for (const series of [this.#programme, this.#foldDown, this.#channels, ...peaks]) series.clear()
  }

  /**
   * What was measured. At the end of a programme the interpolation rings out into the silence after the last frame;
   * within one those points belong to what follows.
   */
  finish(isEndOfProgramme = false): Measured {
    this.#kernels.exports.meterFinish(this.#plan, isEndOfProgramme ? 1 : 0)
    const { sampleRateHz, layout } = this.#shape
    if (this.#frameCount % framesPerHop(sampleRateHz) > 0) this.#keepPeaks(1)
    else this.#raiseLastTruePeaks()
    const keepsTruePeaks = this.#truePeakTable !== null
    const { foldDown, lfe, ofChannels } = this.#lanes
    return {
      sampleRateHz,
      layout,
      frameCount: this.#frameCount,
      programme10ms: this.#programme.toArray(),
      foldDown10ms: foldDown === null ? null : this.#foldDown.toArray(),
      channels100ms: this.#channels.toArray(),
      linkedPeak100ms: this.#linkedPeaks.toArray(),
      lfePeak100ms: lfe === null ? null : this.#lfePeaks.toArray(),
      truePeak100ms: keepsTruePeaks ? Float32Array.from(this.#truePeaks.toArray()) : null,
      foldDownTruePeak100ms:
        keepsTruePeaks && foldDown !== null ? Float32Array.from(this.#foldDownTruePeaks.toArray()) : null,
      channels: ofChannels.map((lane) => this.#peaksOf(lane)),
      foldDown: foldDown === null ? null : [this.#peaksOf(foldDown), this.#peaksOf(foldDown + 1)],
      nonFiniteSampleCount: this.#nonFiniteCount,
    }
  }

  #keepEnergies(rows: number): void {
    const { ofChannels, weights, foldDown, count } = this.#lanes
    const table = this.#energyTable
    const hopSums = this.#hopSums
    const fineScale = this.#weighting.energyScale / framesPerFineHop(this.#shape.sampleRateHz)
    for (let row = 0, first = 0; row < rows; row++, first += count) {
      let sum = 0
      for (let channel = 0; channel < ofChannels.length; channel++) {
        const energy = table[first + (ofChannels[channel] as number)] as number
        sum += (weights[channel] as number) * energy
        hopSums[channel] = (hopSums[channel] as number) + energy
      }
      this.#programme.push(sum * fineScale)
      if (foldDown !== null) {
        const [left, right] = [table[first + foldDown] as number, table[first + foldDown + 1] as number]
        this.#foldDown.push((left + right) * fineScale)
      }
      this.#fineHopsInHop += 1
      if (this.#fineHopsInHop === FINE_HOPS_PER_HOP) this.#endHop(fineScale)
    }
  }

  #endHop(fineScale: number): void {
    for (const energy of this.#hopSums) this.#channels.push((energy * fineScale) / FINE_HOPS_PER_HOP)
    this.#hopSums.fill(0)
    this.#fineHopsInHop = 0
  }

  #keepPeaks(rows: number): void {
    const { linked, lfe, count, ofChannels, foldDown } = this.#lanes
    const truePeaks = this.#truePeakTable
    for (let row = 0; row < rows; row++) {
      let highest = 0
      for (const lane of linked) highest = Math.max(highest, this.#peakTable[row * count + lane] as number)
      this.#linkedPeaks.push(highest)
      if (lfe !== null) this.#lfePeaks.push(this.#peakTable[row * count + lfe] as number)
      if (truePeaks === null) continue
      for (const lane of ofChannels) this.#truePeaks.push(truePeaks[row * count + lane] as number)
      if (foldDown === null) continue
      this.#foldDownTruePeaks.push(truePeaks[row * count + foldDown] as number)
      this.#foldDownTruePeaks.push(truePeaks[row * count + foldDown + 1] as number)
    }
  }

  /** Points that ring out behind a whole 100 ms belong to it. */
  #raiseLastTruePeaks(): void {
    const { ofChannels, foldDown } = this.#lanes
    const table = this.#truePeakTable
    if (table === null) return
    this.#truePeaks.raiseLast(ofChannels.map((lane) => table[lane] as number))
    if (foldDown !== null) this.#foldDownTruePeaks.raiseLast([table[foldDown] as number, table[foldDown + 1] as number])
  }

  #peaksOf(lane: number): ChannelPeaks {
    const field = (index: number) => this.#peaks[index * MOST_LANES + lane] as number
    const frame = (index: number) => Math.max(0, this.#shape.firstFrame + field(index))
    return {
      samplePeak: { value: field(0), frameIndex: frame(1) },
      truePeak: { value: field(2), frameIndex: frame(3) },
    }
  }
}

/** Where the channels of a layout stand in the kernel's frames. */
type Lanes = {
  /** Lanes in a frame. */
  readonly count: number
  readonly ofChannels: readonly number[]
  readonly weights: readonly number[]
  readonly lfe: number | null
  /** The lane of Lo; Ro is the next. */
  readonly foldDown: number | null
  /** The lanes that the linked peak looks at: all channels but the LFE, and the fold-down. */
  readonly linked: readonly number[]
}

function lanesOf(layout: LayoutName): Lanes {
  const roles = LAYOUTS[layout]
  const ofChannels = roles.map((role) => (role === 'M' ? 0 : LAYOUTS['7.1'].indexOf(role)))
  const mains = ofChannels.filter((_, channel) => roles[channel] !== 'LFE')
  const foldDown = hasFoldDown(layout) ? (layout === '7.1' ? 8 : 6) : null
  const lfe = roles.indexOf('LFE')
  return {
    count: foldDown === null ? 2 : foldDown + 2,
    ofChannels,
    weights: roles.map(loudnessWeight),
    lfe: lfe < 0 ? null : (ofChannels[lfe] as number),
    foldDown,
    linked: foldDown === null ? mains : [...mains, foldDown, foldDown + 1],
  }
}

/** Every coefficient for both lanes of a pair, in the kernel's order. */
function pairsOf({ g1, g2, a1, a2, e2, f }: KWeighting): readonly number[] {
  return [g1, g2, a1, a2, e2, f, FOLD_DOWN_K].flatMap((coefficient) => [coefficient, coefficient])
}
