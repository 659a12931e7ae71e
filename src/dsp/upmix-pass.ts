import { type Cancellation, Cancelled, exp2, type UpmixSettings } from '../domain/index.ts'
import { FourierTransform } from './fft.ts'
import type { Kernels } from './kernels.ts'
import { type Duck, duckFor, soundingVoice } from './upmix-duck.ts'
import type { UpmixGeometry } from './upmix-geometry.ts'
import { HannMean } from './upmix-hann.ts'
import { findOnsets, OnsetCuts } from './upmix-onsets.ts'
import type { SourceSpectra } from './upmix-source.ts'
import { takeSilence, takeUpmixTables, type UpmixTables } from './upmix-tables.ts'
import type { UpmixWatcher } from './upmix-watch.ts'

const FLOAT = Float32Array.BYTES_PER_ELEMENT
const DOUBLE = Float64Array.BYTES_PER_ELEMENT
const PLANES_PER_FRAME = 4
const PAIRS_PER_CANCELLATION_CHECK = 128

/** Addresses of two float64 planes of one length. */
type TrackPair = { readonly left: number; readonly right: number }

/** Addresses of float32 planes. */
type ExtractedPlanes = {
  readonly centre: number
  readonly leftSurround: number
  readonly rightSurround: number
}

/** What a pass works on. The planes that it fills must be silent before; what is carried is null for the tracks themselves. */
export type UpmixStretch = {
  readonly tracks: TrackPair
  readonly carried: TrackPair | null
  readonly frameCount: number
  readonly planes: ExtractedPlanes
  /** What the tracks were found to be; null where nobody looked. */
  readonly source: SourceSpectra | null
  /** Looks at one pair of transforms; null where nobody asks. */
  readonly watcher: UpmixWatcher | null
}

/** The last `slotCount` frames of `floatCount` floats, by their index. */
class FrameRing {
  readonly #address: number
  readonly #frameBytes: number
  readonly #slotCount: number

  constructor(kernels: Kernels, slotCount: number, floatCount: number) {
    this.#frameBytes = floatCount * FLOAT
    this.#slotCount = slotCount
    this.#address = kernels.arena.take(slotCount * this.#frameBytes)
  }

  at(index: number): number {
    return this.#address + (index % this.#slotCount) * this.#frameBytes
  }
}

/**
 * One run of the short-time transform over a stretch of two tracks: weights for C, Ls and Rs from their powers, and the
 * three signals back in time. Transform j covers frames (j - 3) hop .. (j + 1) hop of the stretch; weights are made for
 * two transforms at a time. What begins at an onset goes through the same weights apart from what sounded before.
 * Weights look ahead, so the centre stands `centreLag` and the surrounds `surroundLag` pairs
 * behind the newest one; nothing of that is left in the signals.
 */
export class UpmixPass {
  readonly #kernels: Kernels
  readonly #geometry: UpmixGeometry
  readonly #settings: UpmixSettings
  readonly #stretch: UpmixStretch
  readonly #pairCount: number
  readonly #tables: UpmixTables
  readonly #transform: FourierTransform
  readonly #work: { readonly re: number; readonly im: number; readonly outRe: number; readonly outIm: number }

  readonly #spectra: FrameRing
  readonly #powers: FrameRing
  readonly #averaged: FrameRing
  readonly #ratios: FrameRing
  readonly #centreMean: HannMean
  readonly #floorMean: HannMean
  readonly #ambienceMean: HannMean
  readonly #fineMean: HannMean
  readonly #silence: number
  readonly #fine: number
  readonly #analysed: readonly [number, number]
  readonly #weighed: readonly [number, number]
  readonly #parted: readonly [number, number]
  readonly #cuts: OnsetCuts
  readonly #bandSums: Float64Array

  /** Per transform: which sides sound (bits: left, right), of the tracks and of what is carried through the weights. */
  readonly #sounding: Uint8Array
  readonly #carriedSounding: Uint8Array
  /** Per pair: whether weights were made, and the common and the whole power in the band of speech. */
  readonly #hasWeights: Uint8Array
  readonly #commonPower: Float64Array
  readonly #bandPower: Float64Array
  #lastSounding = Number.NEGATIVE_INFINITY
  #isIdle = true

  constructor(kernels: Kernels, geometry: UpmixGeometry, settings: UpmixSettings, stretch: UpmixStretch) {
    this.#kernels = kernels
    this.#geometry = geometry
    this.#settings = settings
    this.#stretch = stretch
    this.#pairCount = Math.ceil((Math.ceil(stretch.frameCount / geometry.hopFrames) + 3) / 2)

    const { stride, transformFrames, surroundLag, floorHalf, ambienceHalf } = geometry
    this.#tables = takeUpmixTables(kernels, geometry)
    this.#transform = new FourierTransform(kernels, transformFrames)
    const takePlane = () => this.#transform.takePlane()
    this.#work = { re: takePlane(), im: takePlane(), outRe: takePlane(), outIm: takePlane() }
    const slots = Math.max(2 * (floorHalf + 1), surroundLag + ambienceHalf + 2) + 1
    this.#spectra = new FrameRing(kernels, 2 * (surroundLag + 1), PLANES_PER_FRAME * stride)
    this.#powers = new FrameRing(kernels, slots, PLANES_PER_FRAME * stride)
    this.#averaged = new FrameRing(kernels, slots, PLANES_PER_FRAME * stride)
    this.#ratios = new FrameRing(kernels, slots, stride)
    this.#centreMean = new HannMean(kernels, geometry.centreHalf, 3 * stride)
    this.#floorMean = new HannMean(kernels, geometry.floorHalf, 3 * stride)
    this.#ambienceMean = new HannMean(kernels, geometry.ambienceHalf, 4 * stride)
    this.#fineMean = new HannMean(kernels, geometry.fineHalf, stride)
    const takeFrame = () => takeSilence(kernels, PLANES_PER_FRAME * stride)
    this.#silence = takeFrame()
    this.#fine = takeFrame()
    this.#analysed = [takeFrame(), takeFrame()]
    this.#weighed = [takeFrame(), takeFrame()]
    this.#parted = [takeFrame(), takeFrame()]
    this.#cuts = new OnsetCuts(kernels, geometry, findOnsets(kernels, geometry, stretch))
    this.#bandSums = new Float64Array(kernels.memory.buffer, kernels.arena.take(2 * DOUBLE), 2)

    this.#sounding = new Uint8Array(2 * this.#pairCount)
    this.#carriedSounding = stretch.carried === null ? this.#sounding : new Uint8Array(2 * this.#pairCount)
    this.#hasWeights = new Uint8Array(this.#pairCount)
    this.#commonPower = new Float64Array(this.#pairCount)
    this.#bandPower = new Float64Array(this.#pairCount)
  }

  run(cancellation?: Cancellation): void {
    const { centreLag, surroundLag, floorHalf } = this.#geometry
    // After so long a silence every frame that a mean still holds is silent, and the sums may start anew.
    const memoryPairs = 2 * (floorHalf + surroundLag)
    for (let newest = 0; newest < this.#pairCount + surroundLag; newest++) {
      if (newest % PAIRS_PER_CANCELLATION_CHECK === 0 && cancellation?.aborted) throw new Cancelled()
      if (newest < this.#pairCount) this.#analyse(newest)
      if (newest - this.#lastSounding > memoryPairs) {
        if (!this.#isIdle) this.#clearMeans()
        this.#isIdle = true
        continue
      }
      this.#isIdle = false
      this.#stepCentre(newest - centreLag)
      this.#stepSurrounds(newest - surroundLag)
    }
  }

  #clearMeans(): void {
    for (const mean of [this.#centreMean, this.#floorMean, this.#ambienceMean, this.#fineMean]) mean.clear()
  }

  #sounds(pair: number): boolean {
    return this.#sounding[2 * pair] !== 0 || this.#sounding[2 * pair + 1] !== 0
  }

  #carriedSounds(pair: number): boolean {
    return this.#carriedSounding[2 * pair] !== 0 || this.#carriedSounding[2 * pair + 1] !== 0
  }

  /** The powers of a pair if it sounded, else silence. */
  #frame(ring: FrameRing, pair: number): number {
    return pair >= 0 && pair < this.#pairCount && this.#sounds(pair) ? ring.at(pair) : this.#silence
  }

  #ratio(pair: number): number {
    return pair >= 0 && this.#hasWeights[pair] === 1 ? this.#ratios.at(pair) : this.#silence
  }

  /** Turns to the parts into which onsets cut what a pair of transforms sees. */
  #turnTo(pair: number): void {
    const from = this.#firstFrame(2 * pair)
    this.#cuts.turnTo(from, from + this.#geometry.hopFrames + this.#geometry.transformFrames)
  }

  /** The spectrum of a part of what is carried at a transform. */
  #carriedSpectrum(index: number, part: number): number {
    if (this.#carriedSounding[index] === 0) return this.#silence
    if (this.#cuts.isWhole) return this.#spectra.at(index)
    const spectrum = this.#parted[index & 1] as number
    this.#takeSpectra(this.#stretch.carried ?? this.#stretch.tracks, index, spectrum, part)
    return spectrum
  }

  #firstFrame(index: number): number {
    return (index - 3) * this.#geometry.hopFrames
  }

  #analyse(pair: number): void {
    const { exports } = this.#kernels
    const { stride } = this.#geometry
    const { tracks, carried } = this.#stretch
    const spectra = [this.#silence, this.#silence]
    for (const side of [0, 1] as const) {
      const index = 2 * pair + side
      const spectrum = carried === null ? this.#spectra.at(index) : this.#analysed[side]
      this.#sounding[index] = this.#takeSpectra(tracks, index, spectrum)
      if (this.#sounding[index] !== 0) spectra[side] = spectrum
      if (carried !== null) this.#carriedSounding[index] = this.#takeSpectra(carried, index, this.#spectra.at(index))
    }
    if (!this.#sounds(pair)) return
    this.#lastSounding = pair
    const powers = this.#powers.at(pair)
    exports.upmixPowers(spectra[0] as number, spectra[1] as number, powers, stride, 0.5)
    exports.upmixAverageBins(powers, this.#averaged.at(pair), stride, this.#tables.powerReach, this.#tables.prefix)
  }

  /** The spectra of both tracks at a transform, or of what a part has of them. Tells which sides sound. */
  #takeSpectra(tracks: TrackPair, index: number, spectrum: number, part: number | null = null): number {
    const { exports } = this.#kernels
    const { transformFrames, stride } = this.#geometry
    const { re, im, outRe, outIm } = this.#work
    const from = this.#firstFrame(index)
    const sounding = exports.upmixWindowPair(
      tracks.left,
      tracks.right,
      from,
      this.#stretch.frameCount,
      this.#tables.analysisWindow,
      transformFrames,
      re,
      im,
    )
    if (sounding !== 0) {
      if (part !== null) for (const plane of [re, im]) this.#cuts.keepPart(part, plane, from)
      this.#transform.forward(re, im, outRe, outIm)
      exports.upmixPartSpectra(outRe, outIm, transformFrames, sounding, spectrum, stride)
      this.#stretch.source?.meet(spectrum, index)
    }
    return sounding
  }

  #stepMean(mean: HannMean, ring: FrameRing, centre: number): void {
    const entering = centre + mean.half
    if (entering < 0) return
    mean.step(entering, this.#frame(ring, entering), this.#frame(ring, mean.leaving(entering)))
  }

  #stepCentre(pair: number): void {
    this.#stepMean(this.#floorMean, this.#averaged, pair)
    this.#stepMean(this.#centreMean, this.#powers, pair)
    if (pair < 0 || pair >= this.#pairCount) return
    this.#turnTo(pair)
    for (let part = this.#cuts.first; part <= this.#cuts.last; part++) this.#addCentre(pair, part)
    this.#hasWeights[pair] = 1
    const { watcher } = this.#stretch
    if (watcher?.pair === pair) {
      watcher.seeCentre(this.#centreMean.out, this.#ratios.at(pair), this.#cuts.onsetsInside)
    }
    this.#commonPower[pair] = this.#bandSums[0] as number
    this.#bandPower[pair] = this.#bandSums[1] as number
  }

  #addCentre(pair: number, part: number): void {
    const settings = this.#settings
    const { stride, leak } = this.#geometry
    this.#kernels.exports.upmixCentre(
      this.#centreMean.out,
      this.#floorMean.out,
      this.#tables.speechBand,
      this.#tables.duckBand,
      this.#carriedSpectrum(2 * pair, part),
      this.#carriedSpectrum(2 * pair + 1, part),
      this.#weighed[0],
      this.#weighed[1],
      this.#ratios.at(pair),
      this.#bandSums.byteOffset,
      stride,
      settings.centreDiffuseReject,
      settings.centreShare,
      settings.centreReach,
      settings.centreSpeechFill * soundingVoice(this.#stretch.source?.voiceAt(pair) ?? null),
      leak,
      1,
    )
    if (!this.#carriedSounds(pair)) return
    this.#returnToTime(this.#weighed[0], this.#weighed[1])
    this.#overlapAdd(this.#work.outRe, this.#stretch.planes.centre, 2 * pair, part)
    this.#overlapAdd(this.#work.outIm, this.#stretch.planes.centre, 2 * pair + 1, part)
  }

  #stepSurrounds(pair: number): void {
    this.#stepMean(this.#ambienceMean, this.#averaged, pair)
    const fine = this.#fineMean
    const entering = pair + fine.half
    if (entering >= 0) fine.step(entering, this.#ratio(entering), this.#ratio(fine.leaving(entering)))
    if (pair < 0 || pair >= this.#pairCount || !this.#carriedSounds(pair)) return
    const { fineReach, prefix } = this.#tables
    this.#kernels.exports.upmixAverageBinsOfOne(fine.out, this.#fine, this.#geometry.stride, fineReach, prefix)
    this.#turnTo(pair)
    for (let part = this.#cuts.first; part <= this.#cuts.last; part++) this.#addSurrounds(pair, part)
  }

  #addSurrounds(pair: number, part: number): void {
    const { exports } = this.#kernels
    const { stride } = this.#geometry
    const settings = this.#settings
    const { watcher } = this.#stretch
    const duck = this.#duckAt(pair)
    if (watcher?.pair === pair) {
      watcher.seeAmbience(this.#ambienceMean.out, duck.amount)
      this.#weighSurrounds(pair, part, { ...duck, amount: 0, narrowing: 0 })
      watcher.seeSurrounds(this.#weighed, 'unducked')
    }
    const reject = settings.surroundSpeechReject
    this.#weighSurrounds(pair, part, { ...duck, amount: reject * duck.amount, narrowing: reject * duck.narrowing })
    if (watcher?.pair === pair) watcher.seeSurrounds(this.#weighed, 'ducked')
    this.#stretch.source?.hold(this.#ambienceMean.out, this.#weighed, settings.surroundNoiseHold)
    for (const side of [0, 1] as const) {
      const spectra = this.#weighed[side]
      this.#stretch.source?.part(spectra, 2 * pair + side)
      if (settings.surroundSpread === 'quadrature') exports.upmixTurnPair(spectra, stride)
      this.#returnToTime(spectra, spectra + 2 * stride * FLOAT)
      this.#overlapAdd(this.#work.outRe, this.#stretch.planes.leftSurround, 2 * pair + side, part)
      this.#overlapAdd(this.#work.outIm, this.#stretch.planes.rightSurround, 2 * pair + side, part)
    }
  }

  /** The spectra of Ls and Rs of a part. */
  #weighSurrounds(pair: number, part: number, duck: Duck): void {
    const { stride, leak } = this.#geometry
    const settings = this.#settings
    this.#kernels.exports.upmixSurrounds(
      this.#ambienceMean.out,
      this.#fine,
      this.#tables.duckBand,
      this.#carriedSpectrum(2 * pair, part),
      this.#carriedSpectrum(2 * pair + 1, part),
      this.#weighed[0],
      this.#weighed[1],
      stride,
      duck.amount,
      duck.from,
      duck.range,
      duck.narrowing,
      settings.ambienceStrictness,
      settings.directRejection,
      settings.ambienceShare * exp2(settings.surroundBalance / 2),
      leak,
      1,
    )
  }

  /** How far the surrounds give way at a pair of transforms. */
  #duckAt(pair: number): Duck {
    const power = this.#centreMean.of(this.#bandPower, pair)
    const share = power > 0 ? this.#centreMean.of(this.#commonPower, pair) / power : 0
    return duckFor(share, this.#stretch.source?.voiceAt(pair) ?? null)
  }

  /** Two real signals from their half spectra, into the work planes `outRe` and `outIm`. */
  #returnToTime(first: number, second: number): void {
    const { re, im, outRe, outIm } = this.#work
    const { stride, transformFrames } = this.#geometry
    this.#kernels.exports.upmixJoinSpectra(first, second, stride, transformFrames, re, im)
    this.#transform.inverse(re, im, outRe, outIm)
  }

  #overlapAdd(frame: number, plane: number, index: number, part: number): void {
    const { transformFrames } = this.#geometry
    const from = this.#firstFrame(index)
    const window = this.#tables.synthesisWindow
    this.#cuts.keepBack(part, frame, from)
    this.#kernels.exports.upmixOverlapAdd(frame, window, transformFrames, plane, from, this.#stretch.frameCount)
  }
}
