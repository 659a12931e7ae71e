import { type Cancellation, Cancelled, exp2, type UpmixSettings } from '../domain/index.ts'
import { FourierTransform } from './fft.ts'
import type { Kernels } from './kernels.ts'
import type { MatrixFrontExports } from './matrix-fronts.ts'
import { type MatrixGeometry, matrixGeometry } from './matrix-geometry.ts'
import { FrameRing } from './matrix-ring.ts'
import { HannMean } from './upmix-hann.ts'
import type { MatrixWatcher } from './upmix-watch.ts'

type Address = number

/** The kernel functions of the Lt/Rt decoder; each is described in the assembly file. */
export interface MatrixExports extends MatrixFrontExports {
  readonly matrixEvidence: (mean: Address, kept: Address, out: Address, stride: number) => void
  readonly matrixWeigh: (
    kept: Address,
    near: Address,
    spectrum: Address,
    centre: Address,
    surrounds: Address,
    stride: number,
    centreShare: number,
    surroundShare: number,
  ) => void
}

const FLOAT = Float32Array.BYTES_PER_ELEMENT
const DOUBLE = Float64Array.BYTES_PER_ELEMENT
const SPECTRUM_PLANES = 4
const EVIDENCE_PLANES = 8
const REACH_BYTES = 16
const FRAMES_PER_CANCELLATION_CHECK = 128

/** Addresses of two float64 planes of one length. */
type TrackPair = { readonly left: Address; readonly right: Address }

/** What is decoded, and the float32 planes that receive it, silent before; `carried` goes through the weights instead. */
export type MatrixStretch = {
  readonly tracks: TrackPair
  readonly carried: TrackPair | null
  readonly frameCount: number
  readonly planes: { readonly centre: Address; readonly leftSurround: Address; readonly rightSurround: Address }
  /** Looks at one transform; null where nobody asks. */
  readonly watcher: MatrixWatcher | null
}

/**
 * Takes centre and surrounds out of an Lt/Rt pair, aligned to the sample, with the phase that the surrounds have in it.
 * Ls and Rs have a sum S that the law Lt = L + kC - kS, Rt = R + kC + kS calls for, and differ only where a
 * side-weighted encoder left a difference. Of the settings, `centreShare`, `ambienceShare` and `surroundBalance` count.
 * The stretch is seen as a programme of its own. Weights reach 0.36 s to both sides at 48 kHz. Throws `Cancelled`.
 * @source docs/decisions/0020: four sounds, minimum-mean-square weights; the law is ATSC A/52 section 7.8.2's Lt/Rt
 */
export function decodeMatrix(
  kernels: Kernels,
  sampleRateHz: number,
  settings: UpmixSettings,
  stretch: MatrixStretch,
  cancellation?: Cancellation,
): void {
  const mark = kernels.arena.mark()
  new MatrixPass(kernels, matrixGeometry(sampleRateHz), settings, stretch).run(cancellation)
  kernels.arena.release(mark)
}

/** One run over a stretch. The first transform ends one hop after the stretch begins. */
class MatrixPass {
  readonly #kernels: Kernels
  readonly #geometry: MatrixGeometry
  readonly #settings: UpmixSettings
  readonly #stretch: MatrixStretch
  readonly #count: number
  readonly #transform: FourierTransform
  readonly #work: { readonly re: Address; readonly im: Address; readonly outRe: Address; readonly outIm: Address }
  readonly #windows: { readonly analysis: Address; readonly synthesis: Address }
  readonly #reach: Address
  readonly #prefix: Address
  readonly #silence: Address
  readonly #evidence: Address
  readonly #centre: Address
  readonly #surrounds: Address
  readonly #analysed: Address
  readonly #spectra: FrameRing
  readonly #powers: FrameRing
  readonly #kept: FrameRing
  readonly #averaged: FrameRing
  readonly #shortMean: HannMean
  readonly #nearMean: HannMean
  readonly #sounding: Uint8Array

  constructor(kernels: Kernels, geometry: MatrixGeometry, settings: UpmixSettings, stretch: MatrixStretch) {
    this.#kernels = kernels
    this.#geometry = geometry
    this.#settings = settings
    this.#stretch = stretch
    const { stride, transformFrames, shortHalf, nearHalf } = geometry
    this.#count = Math.ceil(stretch.frameCount / geometry.hopFrames) + geometry.hopsPerTransform - 1
    this.#transform = new FourierTransform(kernels, transformFrames)
    const takePlane = () => this.#transform.takePlane()
    this.#work = { re: takePlane(), im: takePlane(), outRe: takePlane(), outIm: takePlane() }
    // n overlapping squared windows sum to n / 2; the inverse transform lacks its 1 / length.
    const synthesisScale = 2 / geometry.hopsPerTransform / transformFrames
    this.#windows = { analysis: this.#takeWindow(1), synthesis: this.#takeWindow(synthesisScale) }
    this.#reach = takeReach(kernels, geometry)
    this.#prefix = kernels.arena.take(SPECTRUM_PLANES * (stride + 1) * DOUBLE)
    const takeFrame = (planes: number) => {
      const address = kernels.arena.take(planes * stride * FLOAT)
      new Float32Array(kernels.memory.buffer, address, planes * stride).fill(0)
      return address
    }
    this.#silence = takeFrame(EVIDENCE_PLANES)
    this.#evidence = takeFrame(EVIDENCE_PLANES)
    this.#centre = takeFrame(2)
    this.#surrounds = takeFrame(SPECTRUM_PLANES)
    this.#analysed = takeFrame(SPECTRUM_PLANES)
    const lag = shortHalf + nearHalf
    this.#spectra = new FrameRing(kernels, lag + 1, SPECTRUM_PLANES * stride)
    this.#powers = new FrameRing(kernels, 2 * (shortHalf + 1) + 1, SPECTRUM_PLANES * stride)
    this.#kept = new FrameRing(kernels, nearHalf + 1, SPECTRUM_PLANES * stride)
    this.#averaged = new FrameRing(kernels, 2 * (nearHalf + 1) + 1, EVIDENCE_PLANES * stride)
    this.#shortMean = new HannMean(kernels, shortHalf, SPECTRUM_PLANES * stride)
    this.#nearMean = new HannMean(kernels, nearHalf, EVIDENCE_PLANES * stride)
    this.#sounding = new Uint8Array(this.#count)
  }

  run(cancellation?: Cancellation): void {
    const { shortHalf, nearHalf } = this.#geometry
    for (let newest = 0; newest < this.#count + shortHalf + nearHalf; newest++) {
      if (newest % FRAMES_PER_CANCELLATION_CHECK === 0 && cancellation?.aborted) throw new Cancelled()
      if (newest < this.#count) this.#analyse(newest)
      this.#gather(newest - shortHalf)
      this.#decode(newest - shortHalf - nearHalf)
    }
  }

  #takeWindow(scale: number): Address {
    const { transformFrames } = this.#geometry
    const address = this.#kernels.arena.take(transformFrames * FLOAT)
    this.#kernels.exports.upmixFillWindow(address, transformFrames, scale)
    return address
  }

  #analyse(index: number): void {
    const { tracks, carried } = this.#stretch
    const spectrum = carried === null ? this.#spectra.at(index) : this.#analysed
    const sounds = this.#takeSpectra(tracks, index, spectrum)
    this.#sounding[index] = sounds
    const { stride } = this.#geometry
    this.#kernels.exports.upmixPowers(spectrum, spectrum, this.#powers.at(index), stride, 0.5)
    if (carried !== null) this.#sounding[index] = this.#takeSpectra(carried, index, this.#spectra.at(index))
  }

  /** Gives 0 where both tracks are silent; the spectra are zero then. */
  #takeSpectra(tracks: TrackPair, index: number, spectrum: Address): number {
    const { exports } = this.#kernels
    const { transformFrames, stride } = this.#geometry
    const { re, im, outRe, outIm } = this.#work
    const from = this.#firstFrameOf(index)
    const { frameCount } = this.#stretch
    const window = this.#windows.analysis
    const sounding = exports.upmixWindowPair(
      tracks.left,
      tracks.right,
      from,
      frameCount,
      window,
      transformFrames,
      re,
      im,
    )
    this.#transform.forward(re, im, outRe, outIm)
    exports.upmixPartSpectra(outRe, outIm, transformFrames, sounding, spectrum, stride)
    return sounding
  }

  #firstFrameOf(index: number): number {
    const { hopFrames, hopsPerTransform } = this.#geometry
    return (index + 1 - hopsPerTransform) * hopFrames
  }

  /** Smooths the powers of transform `index` and averages what they tell over neighbouring bins. */
  #gather(index: number): void {
    this.#step(this.#shortMean, this.#powers, index)
    if (index < 0 || index >= this.#count) return
    const { exports } = this.#kernels
    const { stride } = this.#geometry
    exports.matrixEvidence(this.#shortMean.out, this.#kept.at(index), this.#evidence, stride)
    const averaged = this.#averaged.at(index)
    const half = SPECTRUM_PLANES * stride * FLOAT
    exports.upmixAverageBins(this.#evidence, averaged, stride, this.#reach, this.#prefix)
    exports.upmixAverageBins(this.#evidence + half, averaged + half, stride, this.#reach, this.#prefix)
  }

  #step(mean: HannMean, ring: FrameRing, centre: number): void {
    const entering = centre + mean.half
    if (entering < 0) return
    const at = (index: number) => (index >= 0 && index < this.#count ? ring.at(index) : this.#silence)
    mean.step(entering, at(entering), at(mean.leaving(entering)))
  }

  #decode(index: number): void {
    this.#step(this.#nearMean, this.#averaged, index)
    if (index < 0 || index >= this.#count || this.#sounding[index] === 0) return
    const { exports } = this.#kernels
    const { stride } = this.#geometry
    const { centreShare, ambienceShare, surroundBalance } = this.#settings
    const { watcher } = this.#stretch
    if (watcher?.index === index) watcher.seeTracks(this.#kept.at(index))
    exports.matrixWeigh(
      this.#kept.at(index),
      this.#nearMean.out,
      this.#spectra.at(index),
      this.#centre,
      this.#surrounds,
      stride,
      centreShare,
      ambienceShare * exp2(surroundBalance / 2),
    )
    const { centre, leftSurround, rightSurround } = this.#stretch.planes
    this.#returnToTime(this.#surrounds, this.#surrounds + 2 * stride * FLOAT)
    this.#overlapAdd(this.#work.outRe, leftSurround, index)
    this.#overlapAdd(this.#work.outIm, rightSurround, index)
    this.#returnToTime(this.#centre, this.#silence)
    this.#overlapAdd(this.#work.outRe, centre, index)
  }

  /** Two real signals from their half spectra, into the work planes `outRe` and `outIm`. */
  #returnToTime(first: Address, second: Address): void {
    const { re, im, outRe, outIm } = this.#work
    const { stride, transformFrames } = this.#geometry
    this.#kernels.exports.upmixJoinSpectra(first, second, stride, transformFrames, re, im)
    this.#transform.inverse(re, im, outRe, outIm)
  }

  #overlapAdd(frame: Address, plane: Address, index: number): void {
    const { transformFrames } = this.#geometry
    const from = this.#firstFrameOf(index)
    const { frameCount } = this.#stretch
    this.#kernels.exports.upmixOverlapAdd(frame, this.#windows.synthesis, transformFrames, plane, from, frameCount)
  }
}

/** For each bin: first bin and bin past the last as i32, one over their distance as f64; the padding averages nothing. */
function takeReach(kernels: Kernels, { stride, lastBin, nearBins }: MatrixGeometry): Address {
  const address = kernels.arena.take(stride * REACH_BYTES)
  const table = new DataView(kernels.memory.buffer, address, stride * REACH_BYTES)
  for (let bin = 0; bin < stride; bin++) {
    const first = bin > lastBin ? 0 : Math.max(0, bin - nearBins)
    const past = bin > lastBin ? 0 : Math.min(lastBin, bin + nearBins) + 1
    table.setInt32(bin * REACH_BYTES, first, true)
    table.setInt32(bin * REACH_BYTES + 4, past, true)
    table.setFloat64(bin * REACH_BYTES + 8, past === first ? 0 : 1 / (past - first), true)
  }
  return address
}
