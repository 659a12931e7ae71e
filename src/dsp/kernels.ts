import { assert } from '../domain/index.ts'
import type { BandExports } from './bands.ts'
import type { CeilingExports } from './ceiling.ts'
import type { DecodeExports } from './decode.ts'
import type { FftExports } from './fft.ts'
import type { FoldExports } from './fold.ts'
import type { GainExports } from './gain.ts'
import type { LeqMExports } from './leq-m.ts'
import type { MatrixExports } from './matrix.ts'
import type { MeterExports } from './meter.ts'
import type { PairSpectraExports } from './pair-spectra.ts'
import type { PredictionExports } from './prediction.ts'
import type { ResampleExports } from './resample.ts'
import type { SpeechNetExports } from './speech-net.ts'
import type { TwoTracksExports } from './two-tracks.ts'
import type { UpmixExports } from './upmix-exports.ts'
import type { WordsExports } from './words.ts'
import type { ZeroPhaseExports } from './zero-phase.ts'

/**
 * Hands out addresses in the one memory of a kernel instance. Kernels never allocate; a plan takes what it needs
 * and gives it back by `release`. Addresses lie on odd multiples of 64 bytes, so that buffers of a power-of-two
 * size do not fall on the same cache sets (1.5x on a 4096-point transform).
 */
export class Arena {
  readonly #end: number
  #next: number

  constructor(firstByte: number, byteSize: number) {
    this.#next = firstByte
    this.#end = byteSize
  }

  /** Gives the address of `byteSize` fresh bytes (not cleared). */
  take(byteSize: number): number {
    const start = (Math.ceil(this.#next / CACHE_LINE) | 1) * CACHE_LINE
    assert(start + byteSize <= this.#end, `kernel memory holds ${this.#end} bytes, ${start + byteSize} are needed`)
    this.#next = start + byteSize
    return start
  }

  /** A place to come back to: everything taken after `mark` is given back by `release(mark)`. */
  mark(): number {
    return this.#next
  }

  release(mark: number): void {
    this.#next = mark
  }
}

const CACHE_LINE = 64

/** Bytes at the foot of the memory that belong to the compiled module's constants. */
export const MODULE_BYTES = 65536

const MEBIBYTE = 1024 * 1024

/** Memory that rendering one segment may take: 29 s of planar signals, at most 192 kHz. */
export function kernelMemoryBytes(sampleRateHz: number): number {
  return (sampleRateHz <= 48000 ? 224 : sampleRateHz <= 96000 ? 448 : 896) * MEBIBYTE
}

/** One private instance of the compiled kernels: its exports, its memory (fixed, never grown) and who owns which part. */
export type Kernels = {
  readonly exports: KernelExports
  readonly memory: { readonly buffer: ArrayBuffer }
  readonly arena: Arena
}

/** Every door adds the functions that it calls. Addresses and counts are plain numbers. */
export interface KernelExports
  extends CeilingExports,
    DecodeExports,
    FftExports,
    FoldExports,
    GainExports,
    LeqMExports,
    BandExports,
    MatrixExports,
    MeterExports,
    PairSpectraExports,
    PredictionExports,
    ResampleExports,
    SpeechNetExports,
    TwoTracksExports,
    UpmixExports,
    WordsExports,
    ZeroPhaseExports {
  readonly abiVersion: () => number
}
