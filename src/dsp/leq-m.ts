import { assert } from '../domain/index.ts'
import type { Plane } from './decode.ts'
import type { Kernels } from './kernels.ts'
import { M_WEIGHTING } from './leq-m-weighting.ts'

export interface LeqMExports {
  readonly leqMEnergy: (samples: number, frameCount: number, coefficients: number, memories: number) => number
}

const SECTIONS = 3
const COEFFICIENTS = 4
const MEMORIES_PER_CHANNEL = 2 * SECTIONS
const BYTES_PER_FLOAT64 = 8

/**
 * M-weighted energy of several channels, fed block by block. Works in memory of `kernels.arena`; whoever made it gives
 * it back by mark and release.
 * @source ISO 21727:2016 Table 1
 */
export class MWeightedEnergy {
  readonly #kernels: Kernels
  readonly #coefficients: number
  readonly #memories: Float64Array
  readonly #power: number

  constructor(kernels: Kernels, sampleRateHz: number, channelCount: number) {
    const weighting = M_WEIGHTING[sampleRateHz]
    assert(weighting !== undefined, `there is an M-weighting for ${sampleRateHz} Hz`)
    const { arena, memory } = kernels
    const take = (count: number) => {
      return new Float64Array(memory.buffer, arena.take(count * BYTES_PER_FLOAT64), count)
    }
    const coefficients = take(SECTIONS * COEFFICIENTS)
    coefficients.set(weighting.sections.flat())
    this.#kernels = kernels
    this.#coefficients = coefficients.byteOffset
    this.#memories = take(channelCount * MEMORIES_PER_CHANNEL).fill(0)
    this.#power = weighting.gain * weighting.gain
  }

  /** Sum of squares of the next `frameCount` frames of a channel (full scale = 1) behind the weighting. */
  add(channel: number, plane: Plane, frameCount: number): number {
    assert(plane.isWide, 'Leq(m) is measured in double precision')
    const memories = this.#memories.byteOffset + channel * MEMORIES_PER_CHANNEL * BYTES_PER_FLOAT64
    const { leqMEnergy } = this.#kernels.exports
    return this.#power * leqMEnergy(plane.address, frameCount, this.#coefficients, memories)
  }
}
