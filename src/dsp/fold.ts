import { BYTES_PER_SAMPLE, bytesPerFrame, type PcmFormat } from '../domain/index.ts'
import type { LinkedSignal } from './ceiling.ts'
import { bytesPerPlaneSample, type Plane, takePlane } from './decode.ts'
import { quarterTurnTaps } from './fold-quarter.ts'
import type { Kernels } from './kernels.ts'

export interface FoldExports {
  readonly foldAdd: (
    sum: number,
    plane: number,
    isWide: number,
    weight: number,
    frameCount: number,
    isFirst: number,
  ) => void
  readonly foldNarrow: (sum: number, frameCount: number, plane: number) => void
  readonly foldTurn: (samples: number, taps: number, tapCount: number, frameCount: number, turned: number) => void
  readonly foldHighest: (sum: number, frameCount: number) => number
  readonly foldFloats: (sum: number, frameCount: number, gain: number, frameBytes: number, first: number) => void
  readonly foldDiffering: (
    sum: number,
    written: number,
    frameCount: number,
    fullScale: number,
    largest: number,
  ) => number
  readonly foldLeftOver: (
    madeLeft: number,
    madeRight: number,
    left: number,
    right: number,
    gain: number,
    frameCount: number,
    squares: number,
  ) => void
}

/** Frames behind a sum that hold silence, because words are made four at a time. */
const WORD_GROUP_FRAMES = 4

/**
 * Adds `frameCount` frames of weighted planes, from their frame `fromFrame` on, into the wide plane `sum`: float64, one
 * plane after the other, so that integer words in the order of a layout give the sum that the equation gives.
 */
export function sumPlanes(
  kernels: Kernels,
  signal: LinkedSignal,
  fromFrame: number,
  frameCount: number,
  sum: Plane,
): void {
  signal.forEach(({ plane, weight }, index) => {
    const address = plane.address + fromFrame * bytesPerPlaneSample(plane)
    kernels.exports.foldAdd(sum.address, address, plane.isWide ? 1 : 0, weight, frameCount, index === 0 ? 1 : 0)
  })
  new Float64Array(kernels.memory.buffer, sum.address + frameCount * 8, WORD_GROUP_FRAMES).fill(0)
}

/** The highest |sample| of a sum. */
export function highestOfSum(kernels: Kernels, sum: Plane, frameCount: number): number {
  return kernels.exports.foldHighest(sum.address, frameCount)
}

/** How samples differ from what they are compared with. */
export class Differences {
  readonly #kernels: Kernels
  /** Squares of what is left, and the largest magnitude of it. */
  readonly #leftOver: Float64Array
  /** Steps of the word. */
  readonly #largest: Float64Array
  #count = 0

  /** Takes its memory from the arena; the caller gives it back. */
  constructor(kernels: Kernels) {
    const take = (count: number) =>
      new Float64Array(kernels.memory.buffer, kernels.arena.take(count * Float64Array.BYTES_PER_ELEMENT), count)
    this.#kernels = kernels
    this.#leftOver = take(2).fill(0)
    this.#largest = take(1).fill(0)
  }

  /** Words that differed so far, and by how many steps at most. */
  get words(): { readonly count: number; readonly largest: number } {
    return { count: this.#count, largest: this.#largest[0]! }
  }

  /** Sum of the squares that were left so far, and the largest magnitude, full scale = 1. */
  get leftOver(): { readonly squares: number; readonly largest: number } {
    return { squares: this.#leftOver[0]!, largest: this.#leftOver[1]! }
  }

  /** Compares words, as wide samples, with a sum rounded half up to them and held within the word. */
  compareWords(sum: Plane, written: Plane, frameCount: number, fullScale: number): void {
    const { foldDiffering } = this.#kernels.exports
    this.#count += foldDiffering(sum.address, written.address, frameCount, fullScale, this.#largest.byteOffset)
  }

  /** Compares two wide planes with two others under a gain; `gain` is a wide plane too. */
  compareUnder(gain: Plane, made: readonly Plane[], original: readonly Plane[], frameCount: number): void {
    const [madeLeft, madeRight, left, right] = [...made, ...original].map(({ address }) => address) as [
      number,
      number,
      number,
      number,
    ]
    const squares = this.#leftOver.byteOffset
    this.#kernels.exports.foldLeftOver(madeLeft, madeRight, left, right, gain.address, frameCount, squares)
  }
}

/** Writes a sum times `gain` as channel `channel` of interleaved float32 PCM at `pcm` in kernel memory. */
export function packSum(
  kernels: Kernels,
  sum: Plane,
  frameCount: number,
  gain: number,
  format: PcmFormat,
  channel: number,
  pcm: number,
): void {
  const first = pcm + channel * BYTES_PER_SAMPLE[format.encoding]
  kernels.exports.foldFloats(sum.address, frameCount, gain, bytesPerFrame(format), first)
}

/**
 * Turns a signal by 90 degrees (each frequency leads by a quarter of its period) without delay: what comes out at a
 * frame is centred on that frame. Level within 0.08 dB from 40 Hz on; below that it falls off, to 0 at 0 Hz.
 * A frame's value depends on the frames within `reachFrames` of it alone, not on where a block starts. Holds memory
 * for blocks of `mostFrames`.
 */
export class QuarterTurn {
  /** Frames on each side of a block that have to be known. */
  readonly reachFrames: number
  readonly #kernels: Kernels
  readonly #taps: number
  readonly #tapCount: number
  readonly #narrow: Plane
  readonly #turned: Plane

  constructor(kernels: Kernels, sampleRateHz: number, mostFrames: number) {
    const taps = quarterTurnTaps(sampleRateHz)
    this.reachFrames = 2 * taps.length - 1
    this.#kernels = kernels
    this.#tapCount = taps.length
    this.#taps = kernels.arena.take(taps.byteLength)
    new Float32Array(kernels.memory.buffer, this.#taps, taps.length).set(taps)
    this.#narrow = takePlane(kernels, mostFrames + 2 * this.reachFrames, false)
    this.#turned = takePlane(kernels, mostFrames + 2 * this.reachFrames, false)
  }

  /** Turns `frameCount` frames from frame `reachFrames` of the wide plane `samples` on; they keep their place. */
  turn(samples: Plane, frameCount: number): Plane {
    const { exports } = this.#kernels
    const first = this.reachFrames * bytesPerPlaneSample(this.#narrow)
    exports.foldNarrow(samples.address, frameCount + 2 * this.reachFrames, this.#narrow.address)
    exports.foldTurn(this.#narrow.address + first, this.#taps, this.#tapCount, frameCount, this.#turned.address + first)
    return this.#turned
  }
}
