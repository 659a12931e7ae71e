import type { Kernels } from '../../../dsp/index.ts'
import { ChannelSpectra, transformLength } from '../channel-spectra.ts'
import type { Stretch } from '../detector.ts'
import { BAND_COUNT, type ChannelEvidence, type SpectrumEvidence } from './evidence.ts'
import { strongestLine } from './lines.ts'
import { lowLines } from './low-lines.ts'

const WINDOW_SECONDS = 0.04
/** One window of four is looked at: what is asked for here is steady. */
const STRIDE = 4
/** Windows below -110 dBFS are black and say nothing of hiss. */
const BLACK_POWER = 1e-11
/** Share of the windows that count as the quietest. */
const QUIETEST_SHARE = 0.07
const QUIET_EDGES_HZ = [1000, 2000, 4000, 8000, 16000]
const WHISTLE_FROM_HZ = 15450
const WHISTLE_TO_HZ = 15950
/** Bins looked at beside the whistle's range, for its neighbourhood. */
const WHISTLE_SIDE_BINS = 14
/** The sum of a Hann spectrum's powers over the bins of one side, for noise of power 1 (see `ChannelSpectra`). */
const NOISE_POWER = 0.75

/** Bands, quietest frames, hum and whistle of every channel of a segment. */
export function observeSpectrum(kernels: Kernels, stretch: Stretch): SpectrumEvidence {
  const gatherers = lookThrough(kernels, stretch, (...shape) => new Gatherer(...shape))
  const mark = kernels.arena.mark()
  const harmonics = lowLines(kernels, stretch)
  kernels.arena.release(mark)
  return { channels: gatherers.map((gatherer, channel) => gatherer.finish(harmonics[channel]!)) }
}

/** The bands alone. */
export function observeBands(kernels: Kernels, stretch: Stretch): Float32Array[] {
  return lookThrough(kernels, stretch, (binCount) => new MeanBands(binCount)).map((mean) => mean.finish())
}

/** Hands the spectra of a segment's windows to one gatherer for each channel. */
function lookThrough<G extends { add(re: Float32Array, im: Float32Array): void }>(
  kernels: Kernels,
  { planes, leadFrames, frameCount, sampleRateHz }: Stretch,
  create: (binCount: number, windowCount: number, hzPerBin: number) => G,
): G[] {
  const mark = kernels.arena.mark()
  const length = transformLength(WINDOW_SECONDS, sampleRateHz)
  const spectra = new ChannelSpectra(kernels, length)
  const pair = spectra.createSpectra()
  const windowCount = Math.max(1, Math.floor((frameCount - length) / (STRIDE * length)) + 1)
  const isLong = planes[0]!.length >= leadFrames + length
  const gatherers = planes.map(() => create(spectra.binCount, windowCount, sampleRateHz / length))
  for (let window = 0; isLong && window < windowCount; window++) {
    const from = leadFrames + window * STRIDE * length
    for (let channel = 0; channel < planes.length; channel += 2) {
      spectra.transform(planes[channel]!, planes[channel + 1] ?? null, from, pair)
      gatherers[channel]!.add(pair.aRe, pair.aIm)
      gatherers[channel + 1]?.add(pair.bRe, pair.bIm)
    }
  }
  kernels.arena.release(mark)
  return gatherers
}

class MeanBands {
  readonly #sums: Float64Array
  #count = 0

  constructor(binCount: number) {
    this.#sums = new Float64Array(binCount)
  }

  add(re: Float32Array, im: Float32Array): void {
    const sums = this.#sums
    for (let k = 0; k < sums.length; k++) sums[k]! += (re[k]! * re[k]! + im[k]! * im[k]!) / NOISE_POWER
    this.#count++
  }

  finish(): Float32Array {
    const bands = new Float32Array(BAND_COUNT)
    const binsPerBand = (this.#sums.length - 1) / BAND_COUNT
    for (let k = 0; k < this.#sums.length - 1; k++) {
      bands[Math.floor(k / binsPerBand)]! += this.#sums[k]! / Math.max(1, this.#count)
    }
    return bands
  }
}

class Gatherer {
  readonly #mean: MeanBands
  readonly #hzPerBin: number
  readonly #quiet: Float64Array[] = []
  readonly #whistle: Float64Array[]
  readonly #whistleFrom: number
  #count = 0

  constructor(binCount: number, windowCount: number, hzPerBin: number) {
    this.#mean = new MeanBands(binCount)
    this.#hzPerBin = hzPerBin
    this.#whistleFrom = Math.round(WHISTLE_FROM_HZ / hzPerBin) - WHISTLE_SIDE_BINS
    const to = Math.round(WHISTLE_TO_HZ / hzPerBin) + WHISTLE_SIDE_BINS
    const bins = to < binCount ? to - this.#whistleFrom : 0
    this.#whistle = Array.from({ length: bins }, () => new Float64Array(windowCount))
  }

  add(re: Float32Array, im: Float32Array): void {
    this.#mean.add(re, im)
    const quiet = new Float64Array(QUIET_EDGES_HZ.length - 1)
    let total = 0
    let band = -1
    let edge = QUIET_EDGES_HZ[0]! / this.#hzPerBin
    for (let k = 0; k < re.length; k++) {
      const power = (re[k]! * re[k]! + im[k]! * im[k]!) / NOISE_POWER
      total += power
      while (k >= edge) edge = (QUIET_EDGES_HZ[++band + 1] ?? Number.POSITIVE_INFINITY) / this.#hzPerBin
      if (band >= 0 && band < quiet.length) quiet[band]! += power
    }
    this.#whistle.forEach((bin, index) => {
      const k = this.#whistleFrom + index
      bin[this.#count] = re[k]! * re[k]! + im[k]! * im[k]!
    })
    if (total > BLACK_POWER) this.#quiet.push(quiet)
    this.#count++
  }

  finish(harmonics: Float32Array): ChannelEvidence {
    return { bands: this.#mean.finish(), quiet: this.#quietest(), harmonics, whistle: this.#strongestWhistle() }
  }

  #quietest(): Float32Array {
    const total = (frame: Float64Array) => frame.reduce((sum, power) => sum + power, 0)
    const frames = this.#quiet.toSorted((a, b) => total(a) - total(b))
    const chosen = frames.slice(0, Math.ceil(QUIETEST_SHARE * this.#quiet.length))
    const mean = new Float32Array(QUIET_EDGES_HZ.length - 1)
    for (const frame of chosen) frame.forEach((power, band) => (mean[band]! += power / chosen.length))
    return mean
  }

  #strongestWhistle(): readonly [number, number, number] | null {
    if (this.#whistle.length === 0 || this.#count === 0) return null
    const medians = Float64Array.from(this.#whistle, (bin) => bin.subarray(0, this.#count).sort()[this.#count >> 1]!)
    const line = strongestLine(medians, WHISTLE_SIDE_BINS, medians.length - WHISTLE_SIDE_BINS)
    if (line === null) return null
    return [(line.bin + this.#whistleFrom) * this.#hzPerBin, line.levelDbfs, line.overNeighbourhoodDb]
  }
}
