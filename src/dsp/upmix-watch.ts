import type { SeenBand, SeenMoment } from '../domain/index.ts'
import { powerToDb } from '../domain/index.ts'
import { FourierTransform } from './fft.ts'
import type { Kernels } from './kernels.ts'
import { matrixGeometry } from './matrix-geometry.ts'
import { type BinBand, thirdOctaves } from './third-octaves.ts'
import type { UpmixGeometry } from './upmix-geometry.ts'

type Address = number

/** Asks an upmix what it sees at a frame of its stretch; told once, when the stretch is done. */
export type UpmixWatch = { readonly frame: number; seen(moment: SeenMoment): void }

/** What is held back by more than 120 dB is told as that. */
const SHUT = 1e-12

/** Powers of one band, summed over its bins; zero where nothing was seen. */
class BandSums {
  left = 0
  right = 0
  cross = 0
  common = 0
  ambienceWhole = 0
  ambience = 0
  unducked = 0
  ducked = 0

  add(other: BandSums): void {
    for (const name of Object.keys(other) as Exclude<keyof BandSums, 'add' | 'seen'>[]) this[name] += other[name]
  }

  seen(isLtRt: boolean): SeenBand {
    const both = this.left + this.right
    const ratio = (part: number, whole: number) => (whole > 0 ? part / whole : null)
    return {
      common: isLtRt ? null : ratio(this.common, both),
      diffuseness: isLtRt ? null : ratio(this.ambience, this.ambienceWhole),
      dominance: ratio(this.left - this.right, both),
      inPhase: ratio(2 * this.cross, both),
      duckDb: this.unducked > 0 ? Math.min(0, powerToDb(Math.max(SHUT, this.ducked / this.unducked))) : null,
    }
  }
}

/** Gathers what is seen at one moment, in third octaves. */
class Watched {
  readonly #bands: readonly BinBand[]
  readonly #sums: readonly BandSums[]

  constructor(sampleRateHz: number, transformFrames: number) {
    this.#bands = thirdOctaves(sampleRateHz, transformFrames)
    this.#sums = this.#bands.map(() => new BandSums())
  }

  each(add: (sums: BandSums, bin: number) => void): void {
    for (const [index, { first, end }] of this.#bands.entries()) {
      for (let bin = first; bin < end; bin++) add(this.#sums[index] as BandSums, bin)
    }
  }

  seen(isLtRt: boolean): Pick<SeenMoment, 'bands' | 'total'> {
    const total = new BandSums()
    for (const sums of this.#sums) total.add(sums)
    return { bands: this.#sums.map((sums) => sums.seen(isLtRt)), total: total.seen(isLtRt) }
  }
}

/** A frame of planes of `stride` floats, as one function of plane and bin. */
function planesAt(kernels: Kernels, address: Address, stride: number, planes: number) {
  const floats = new Float32Array(kernels.memory.buffer, address, planes * stride)
  return (plane: number, bin: number) => floats[plane * stride + bin] as number
}

/** Looks at the pair of transforms whose middle is nearest to a frame, at what its weights are made from. */
export class UpmixWatcher {
  readonly pair: number
  readonly #kernels: Kernels
  readonly #geometry: UpmixGeometry
  readonly #watched: Watched
  #onsetFrames: readonly number[] = []
  #speech: number | null = null

  constructor(kernels: Kernels, geometry: UpmixGeometry, frame: number) {
    this.#kernels = kernels
    this.#geometry = geometry
    this.#watched = new Watched(geometry.sampleRateHz, geometry.transformFrames)
    // Pair p covers the hops 2p - 3 .. 2p + 2 of the stretch.
    this.pair = Math.max(0, Math.round((frame / geometry.hopFrames + 0.5) / 2))
  }

  /** `powers`: smoothed |L|^2, |R|^2, Re LR*; `ratio`: the share of common power. */
  seeCentre(powers: Address, ratio: Address, onsetFrames: readonly number[]): void {
    const { stride } = this.#geometry
    const power = planesAt(this.#kernels, powers, stride, 3)
    const share = planesAt(this.#kernels, ratio, stride, 1)
    this.#onsetFrames = onsetFrames
    this.#watched.each((sums, bin) => {
      const [left, right] = [power(0, bin), power(1, bin)]
      sums.left += left
      sums.right += right
      sums.cross += power(2, bin)
      sums.common += share(0, bin) * (left + right)
    })
  }

  /** `powers`: smoothed |L|^2, |R|^2, Re and Im LR*, over which the surrounds are weighed. */
  seeAmbience(powers: Address, speech: number): void {
    const power = planesAt(this.#kernels, powers, this.#geometry.stride, 4)
    this.#speech = speech
    this.#watched.each((sums, bin) => {
      const [left, right, re, im] = [power(0, bin), power(1, bin), power(2, bin), power(3, bin)]
      const both = left + right
      // Twice the smaller eigenvalue of the covariance is the power without direction.
      const directed = Math.sqrt((left - right) * (left - right) + 4 * (re * re + im * im))
      sums.ambienceWhole += both
      sums.ambience += Math.max(0, both - directed)
    })
  }

  /** The spectra of Ls and Rs at both transforms of the pair. */
  seeSurrounds(spectra: readonly [Address, Address], into: 'unducked' | 'ducked'): void {
    for (const address of spectra) {
      const spectrum = planesAt(this.#kernels, address, this.#geometry.stride, 4)
      this.#watched.each((sums, bin) => {
        for (let plane = 0; plane < 4; plane++) sums[into] += spectrum(plane, bin) * spectrum(plane, bin)
      })
    }
  }

  moment(): SeenMoment {
    const { hopFrames, transformFrames } = this.#geometry
    const startFrame = (2 * this.pair - 3) * hopFrames
    return {
      startFrame,
      endFrame: startFrame + transformFrames + hopFrames,
      transformFrames,
      transformCount: 2,
      onsetFrames: this.#onsetFrames,
      speech: this.#speech,
      ...this.#watched.seen(false),
    }
  }
}

/** The same of the decoder of Lt/Rt: looks at the transform whose middle is nearest to a frame. */
export class MatrixWatcher {
  readonly index: number
  readonly #kernels: Kernels
  readonly #geometry: ReturnType<typeof matrixGeometry>
  readonly #watched: Watched

  constructor(kernels: Kernels, sampleRateHz: number, frame: number) {
    this.#kernels = kernels
    this.#geometry = matrixGeometry(sampleRateHz)
    const { hopFrames, hopsPerTransform, transformFrames } = this.#geometry
    this.#watched = new Watched(sampleRateHz, transformFrames)
    this.index = Math.max(0, Math.round((frame - transformFrames / 2) / hopFrames) + hopsPerTransform - 1)
  }

  /** `powers`: smoothed |Lt|^2, |Rt|^2, Re and Im of their cross power. */
  seeTracks(powers: Address): void {
    const power = planesAt(this.#kernels, powers, this.#geometry.stride, 4)
    this.#watched.each((sums, bin) => {
      sums.left += power(0, bin)
      sums.right += power(1, bin)
      sums.cross += power(2, bin)
    })
  }

  moment(): SeenMoment {
    const { hopFrames, hopsPerTransform, transformFrames } = this.#geometry
    const startFrame = (this.index + 1 - hopsPerTransform) * hopFrames
    return {
      startFrame,
      endFrame: startFrame + transformFrames,
      transformFrames,
      transformCount: 1,
      onsetFrames: [],
      speech: null,
      ...this.#watched.seen(true),
    }
  }
}

/**
 * Mean squares of two signals in the third octaves of a moment, through its windows: full-scale square is 1.
 * @param pair float64 planes in kernel memory that begin with the moment and last as long
 */
export function bandPowers(
  kernels: Kernels,
  sampleRateHz: number,
  { transformFrames, transformCount }: Pick<SeenMoment, 'transformFrames' | 'transformCount'>,
  [first, second]: readonly [Float64Array, Float64Array],
): readonly { readonly midHz: number; readonly powers: readonly [number, number] }[] {
  const { arena, exports } = kernels
  const mark = arena.mark()
  const transform = new FourierTransform(kernels, transformFrames)
  const [re, im, outRe, outIm] = [0, 1, 2, 3].map(() => transform.takePlane()) as [Address, Address, Address, Address]
  const window = arena.take(transformFrames * Float32Array.BYTES_PER_ELEMENT)
  exports.upmixFillWindow(window, transformFrames, 1)
  const stride = transformFrames / 2 + 4
  const spectrum = arena.take(4 * stride * Float32Array.BYTES_PER_ELEMENT)
  const bands = thirdOctaves(sampleRateHz, transformFrames)
  const sums = bands.map(({ midHz }) => ({ midHz, powers: [0, 0] as [number, number] }))
  // The squared window has the energy of half its length.
  const scale = 1 / ((transformCount * transformFrames * transformFrames) / 2)
  for (let n = 0; n < transformCount; n++) {
    const from = (n * transformFrames) / 4
    const sounding = exports.upmixWindowPair(
      first.byteOffset,
      second.byteOffset,
      from,
      first.length,
      window,
      transformFrames,
      re,
      im,
    )
    if (sounding === 0) continue
    transform.forward(re, im, outRe, outIm)
    exports.upmixPartSpectra(outRe, outIm, transformFrames, sounding, spectrum, stride)
    const part = planesAt(kernels, spectrum, stride, 4)
    for (const [index, { first: firstBin, end }] of bands.entries()) {
      const { powers } = sums[index] as (typeof sums)[number]
      for (let bin = firstBin; bin < end; bin++) {
        const weight = bin === 0 || bin === transformFrames / 2 ? scale : 2 * scale
        for (const side of [0, 1] as const) {
          const [a, b] = [part(2 * side, bin), part(2 * side + 1, bin)]
          powers[side] += weight * (a * a + b * b)
        }
      }
    }
  }
  arena.release(mark)
  return sums
}
