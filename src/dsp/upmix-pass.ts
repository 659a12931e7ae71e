import { type Cancellation, Cancelled, exp2, type UpmixSettings } from '../domain/index.ts'
import { FourierTransform } from './fft.ts'
import type { Kernels } from './kernels.ts'
import { binReach, duckBand, FINE_ERBS, POWER_ERBS, speechBins, type UpmixGeometry } from './upmix-geometry.ts'
import { HannMean } from './upmix-hann.ts'

const FLOAT = Float32Array.BYTES_PER_ELEMENT
const DOUBLE = Float64Array.BYTES_PER_ELEMENT
const PLANES_PER_FRAME = 4
const HOPS_PER_CANCELLATION_CHECK = 256

/** Share of common power at which speech begins to count, and over which range. */
const SPEECH_SHARE_FLOOR = 0.4
const SPEECH_SHARE_RANGE = 0.4

/** Addresses of two float64 planes of one length. */
export type TrackPair = { readonly left: number; readonly right: number }

/** Addresses of the float32 planes that a pass fills; they must be silent before. */
export type ExtractedPlanes = {
  readonly centre: number
  readonly leftSurround: number
  readonly rightSurround: number
}

/** Frames of `planeCount` planes, the last `slotCount` of them, by their index. */
class FrameRing {
  readonly #address: number
  readonly #frameBytes: number
  readonly #slotCount: number

  constructor(kernels: Kernels, slotCount: number, planeCount: number, stride: number) {
    this.#frameBytes = planeCount * stride * FLOAT
    this.#slotCount = slotCount
    this.#address = kernels.arena.take(slotCount * this.#frameBytes)
  }

  at(index: number): number {
    return this.#address + (index % this.#slotCount) * this.#frameBytes
  }
}

/**
 * One run of the short-time transform over a stretch of two tracks: weights for C, Ls and Rs from their powers, and the
 * three signals back in time. Transform j covers frames (j - 3) hop .. (j + 1) hop of the stretch. The weights look
 * ahead, so the centre stands `centreLag` and the surrounds `surroundLag` transforms behind the newest one; nothing of
 * that is left in the signals.
 */
export class UpmixPass {
  readonly #kernels: Kernels
  readonly #geometry: UpmixGeometry
  readonly #settings: UpmixSettings
  readonly #tracks: TrackPair
  readonly #carried: TrackPair | null
  readonly #planes: ExtractedPlanes
  readonly #frameCount: number
  readonly #transformCount: number

  readonly #transform: FourierTransform
  readonly #work: { readonly re: number; readonly im: number; readonly outRe: number; readonly outIm: number }
  readonly #analysisWindow: number
  readonly #synthesisWindow: number
  readonly #powerReach: number
  readonly #fineReach: number
  readonly #duckBand: number
  readonly #prefix: number

  readonly #spectra: FrameRing
  readonly #powers: FrameRing
  readonly #averaged: FrameRing
  readonly #ratios: FrameRing
  readonly #analysed: number
  readonly #silence: number
  readonly #centreMean: HannMean
  readonly #floorMean: HannMean
  readonly #ambienceMean: HannMean
  readonly #fineMean: HannMean
  readonly #fine: number
  readonly #centreSpectra: readonly [number, number]
  readonly #surroundSpectra: number
  readonly #bandSums: Float64Array

  /** Per transform: does the pair, does what is carried through the weights, do the weights sound (bits: left, right)? */
  readonly #sounding: Uint8Array
  readonly #carriedSounding: Uint8Array
  readonly #weighted: Uint8Array
  readonly #commonPower: Float64Array
  readonly #bandPower: Float64Array
  #lastSounding = Number.NEGATIVE_INFINITY
  #isIdle = true

  constructor(
    kernels: Kernels,
    geometry: UpmixGeometry,
    settings: UpmixSettings,
    stretch: {
      readonly tracks: TrackPair
      readonly carried: TrackPair | null
      readonly frameCount: number
      readonly planes: ExtractedPlanes
    },
  ) {
    this.#kernels = kernels
    this.#geometry = geometry
    this.#settings = settings
    this.#tracks = stretch.tracks
    this.#carried = stretch.carried
    this.#planes = stretch.planes
    this.#frameCount = stretch.frameCount
    // Even, because the centre comes back to time in pairs of transforms.
    const covering = Math.ceil(stretch.frameCount / geometry.hopFrames) + 3
    this.#transformCount = covering + (covering % 2)

    const { arena, exports, memory } = kernels
    const { stride, transformFrames, lastBin, surroundLag, floorHalf, ambienceHalf } = geometry
    this.#transform = new FourierTransform(kernels, transformFrames)
    const takePlane = () => this.#transform.takePlane()
    this.#work = { re: takePlane(), im: takePlane(), outRe: takePlane(), outIm: takePlane() }
    this.#analysisWindow = arena.take(transformFrames * FLOAT)
    exports.upmixFillWindow(this.#analysisWindow, transformFrames, 1)
    this.#synthesisWindow = arena.take(transformFrames * FLOAT)
    // Four overlapping squared windows sum to 2; the inverse transform lacks its 1 / length.
    exports.upmixFillWindow(this.#synthesisWindow, transformFrames, 0.5 / transformFrames)
    this.#powerReach = this.#takeReach(POWER_ERBS)
    this.#fineReach = this.#takeReach(FINE_ERBS)
    this.#duckBand = arena.take(stride * FLOAT)
    const band = new Float32Array(memory.buffer, this.#duckBand, stride)
    for (let bin = 0; bin < stride; bin++) band[bin] = bin <= lastBin ? duckBand(geometry, bin) : 0
    this.#prefix = arena.take(PLANES_PER_FRAME * (stride + 1) * DOUBLE)

    const slots = Math.max(2 * (floorHalf + 1), surroundLag + ambienceHalf + 2) + 1
    this.#spectra = new FrameRing(kernels, surroundLag + 1, PLANES_PER_FRAME, stride)
    this.#powers = new FrameRing(kernels, slots, PLANES_PER_FRAME, stride)
    this.#averaged = new FrameRing(kernels, slots, PLANES_PER_FRAME, stride)
    this.#ratios = new FrameRing(kernels, slots, 1, stride)
    this.#analysed = arena.take(PLANES_PER_FRAME * stride * FLOAT)
    this.#silence = this.#takeSilence(PLANES_PER_FRAME * stride)
    this.#centreMean = new HannMean(kernels, geometry.centreHalf, 3 * stride)
    this.#floorMean = new HannMean(kernels, geometry.floorHalf, 3 * stride)
    this.#ambienceMean = new HannMean(kernels, geometry.ambienceHalf, 4 * stride)
    this.#fineMean = new HannMean(kernels, geometry.fineHalf, stride)
    this.#fine = this.#takeSilence(stride)
    this.#centreSpectra = [this.#takeSilence(2 * stride), this.#takeSilence(2 * stride)]
    this.#surroundSpectra = this.#takeSilence(PLANES_PER_FRAME * stride)
    this.#bandSums = new Float64Array(memory.buffer, arena.take(2 * DOUBLE), 2)

    this.#sounding = new Uint8Array(this.#transformCount)
    this.#carriedSounding = this.#carried === null ? this.#sounding : new Uint8Array(this.#transformCount)
    this.#weighted = new Uint8Array(this.#transformCount)
    this.#commonPower = new Float64Array(this.#transformCount)
    this.#bandPower = new Float64Array(this.#transformCount)
  }

  run(cancellation?: Cancellation): void {
    const { centreLag, surroundLag, floorHalf } = this.#geometry
    // After so long a silence every frame that a mean still holds is silent, and the sums may start anew.
    const memoryHops = 2 * floorHalf + 2 * surroundLag
    for (let newest = 0; newest < this.#transformCount + surroundLag; newest++) {
      if (newest % HOPS_PER_CANCELLATION_CHECK === 0 && cancellation?.aborted) throw new Cancelled()
      if (newest < this.#transformCount) this.#analyse(newest)
      if (newest - this.#lastSounding > memoryHops) {
        if (!this.#isIdle) this.#clearMeans()
        this.#isIdle = true
        continue
      }
      this.#isIdle = false
      this.#stepCentre(newest - centreLag)
      this.#stepSurrounds(newest - surroundLag)
    }
  }

  #takeSilence(count: number): number {
    const address = this.#kernels.arena.take(count * FLOAT)
    new Float32Array(this.#kernels.memory.buffer, address, count).fill(0)
    return address
  }

  #takeReach(erbs: number): number {
    const { stride } = this.#geometry
    const address = this.#kernels.arena.take(stride * Int32Array.BYTES_PER_ELEMENT)
    const reach = new Int32Array(this.#kernels.memory.buffer, address, stride)
    for (let bin = 0; bin < stride; bin++) reach[bin] = binReach(this.#geometry, bin, erbs)
    return address
  }

  #clearMeans(): void {
    for (const mean of [this.#centreMean, this.#floorMean, this.#ambienceMean, this.#fineMean]) mean.clear()
  }

  /** The frame of a ring if its transform sounded, else silence. */
  #frame(ring: FrameRing, index: number): number {
    return index >= 0 && index < this.#transformCount && this.#sounding[index] !== 0 ? ring.at(index) : this.#silence
  }

  #ratio(index: number): number {
    return index >= 0 && this.#weighted[index] === 1 ? this.#ratios.at(index) : this.#silence
  }

  #analyse(index: number): void {
    const { exports } = this.#kernels
    const { stride, lastBin } = this.#geometry
    const spectrum = this.#carried === null ? this.#spectra.at(index) : this.#analysed
    this.#sounding[index] = this.#takeSpectra(this.#tracks, index, spectrum)
    if (this.#carried !== null) {
      this.#carriedSounding[index] = this.#takeSpectra(this.#carried, index, this.#spectra.at(index))
    }
    if (this.#sounding[index] === 0) return
    this.#lastSounding = index
    exports.upmixPowers(spectrum, this.#powers.at(index), stride)
    exports.upmixAverageBins(
      this.#powers.at(index),
      this.#averaged.at(index),
      stride,
      lastBin,
      this.#powerReach,
      this.#prefix,
    )
  }

  #takeSpectra(tracks: TrackPair, index: number, spectrum: number): number {
    const { exports } = this.#kernels
    const { hopFrames, transformFrames, stride } = this.#geometry
    const { re, im, outRe, outIm } = this.#work
    const sounding = exports.upmixWindowPair(
      tracks.left,
      tracks.right,
      (index - 3) * hopFrames,
      this.#frameCount,
      this.#analysisWindow,
      transformFrames,
      re,
      im,
    )
    if (sounding !== 0) {
      this.#transform.forward(re, im, outRe, outIm)
      exports.upmixPartSpectra(outRe, outIm, transformFrames, sounding, spectrum, stride)
    }
    return sounding
  }

  #stepMean(mean: HannMean, ring: FrameRing, centre: number): void {
    const entering = centre + mean.half
    if (entering < 0) return
    mean.step(entering, this.#frame(ring, entering), this.#frame(ring, mean.leaving(entering)))
  }

  #stepCentre(index: number): void {
    this.#stepMean(this.#floorMean, this.#averaged, index)
    this.#stepMean(this.#centreMean, this.#powers, index)
    if (index < 0 || index >= this.#transformCount) return
    const settings = this.#settings
    const geometry = this.#geometry
    const band = speechBins(geometry)
    const parity = index % 2
    this.#kernels.exports.upmixCentre(
      this.#centreMean.out,
      this.#floorMean.out,
      this.#carriedSounding[index] === 0 ? this.#silence : this.#spectra.at(index),
      this.#ratios.at(index),
      this.#centreSpectra[parity] as number,
      this.#bandSums.byteOffset,
      geometry.stride,
      band.first,
      band.last,
      settings.centreDiffuseReject,
      settings.centreShare,
      settings.centreReach,
      geometry.leak,
    )
    this.#weighted[index] = 1
    this.#commonPower[index] = this.#bandSums[0] as number
    this.#bandPower[index] = this.#bandSums[1] as number
    if (parity === 1 && (this.#carriedSounding[index - 1] !== 0 || this.#carriedSounding[index] !== 0)) {
      this.#returnPair(this.#centreSpectra[0], this.#centreSpectra[1])
      this.#overlapAdd(this.#work.outRe, this.#planes.centre, index - 1)
      this.#overlapAdd(this.#work.outIm, this.#planes.centre, index)
    }
  }

  #stepSurrounds(index: number): void {
    this.#stepMean(this.#ambienceMean, this.#averaged, index)
    const entering = index + this.#fineMean.half
    if (entering >= 0)
      this.#fineMean.step(entering, this.#ratio(entering), this.#ratio(this.#fineMean.leaving(entering)))
    if (index < 0 || index >= this.#transformCount || this.#carriedSounding[index] === 0) return
    const { exports } = this.#kernels
    const { stride, leak, lastBin } = this.#geometry
    const settings = this.#settings
    exports.upmixAverageBinsOfOne(this.#fineMean.out, this.#fine, lastBin, this.#fineReach, this.#prefix)
    exports.upmixSurrounds(
      this.#ambienceMean.out,
      this.#fine,
      this.#duckBand,
      this.#spectra.at(index),
      this.#surroundSpectra,
      stride,
      settings.surroundSpeechReject * this.#speechDominance(index),
      settings.ambienceStrictness,
      settings.directRejection,
      settings.ambienceShare * exp2(settings.surroundBalance / 2),
      leak,
    )
    if (settings.surroundSpread === 'quadrature') exports.upmixTurnPair(this.#surroundSpectra, stride)
    this.#returnPair(this.#surroundSpectra, this.#surroundSpectra + 2 * stride * FLOAT)
    this.#overlapAdd(this.#work.outRe, this.#planes.leftSurround, index)
    this.#overlapAdd(this.#work.outIm, this.#planes.rightSurround, index)
  }

  /** 0 where nothing in the middle speaks, 1 where it is nearly all there is. */
  #speechDominance(index: number): number {
    const power = this.#centreMean.of(this.#bandPower, index)
    if (power <= 0) return 0
    const share = this.#centreMean.of(this.#commonPower, index) / power
    return Math.max(0, Math.min(1, (share - SPEECH_SHARE_FLOOR) / SPEECH_SHARE_RANGE))
  }

  #returnPair(first: number, second: number): void {
    const { re, im, outRe, outIm } = this.#work
    const { stride, transformFrames } = this.#geometry
    this.#kernels.exports.upmixJoinSpectra(first, second, stride, transformFrames, re, im)
    this.#transform.inverse(re, im, outRe, outIm)
  }

  #overlapAdd(frame: number, plane: number, index: number): void {
    const { transformFrames, hopFrames } = this.#geometry
    const from = (index - 3) * hopFrames
    this.#kernels.exports.upmixOverlapAdd(frame, this.#synthesisWindow, transformFrames, plane, from, this.#frameCount)
  }
}
