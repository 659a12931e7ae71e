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
