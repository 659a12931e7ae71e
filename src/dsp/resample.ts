import { SPEECH_RATE_HZ } from '../domain/index.ts'
import type { Kernels } from './kernels.ts'

export interface ResampleExports {
  readonly designResampler: (table: number, phases: number, taps: number, cutOff: number, beta: number) => void
  readonly resample: (
    from: number,
    table: number,
    phases: number,
    step: number,
    taps: number,
    to: number,
    count: number,
  ) => void
}

/**
 * The low-pass: flat to 7.2 kHz, and more than 80 dB down where a frequency would fall back below 7.2 kHz (from 8.8 kHz).
 * @source Kaiser's formulas for the window's shape and length at 84 dB
 */
const CUT_OFF_HZ = 8000
const BETA = 8.36
/** Half the filter's length: (84 - 7.95) / (2 x 14.36 x 1600 Hz), and a little more for whole groups of taps. */
const REACH_SECONDS = 1.68e-3

/** How a rate is brought to 16 kHz: sample m of the result stands at m x step / phases frames. */
export type ResamplerShape = {
  readonly phases: number
  readonly step: number
  readonly taps: number
  /** Frames that must be readable before the first and behind the last one. */
  readonly reachFrames: number
}

/** The shape for a rate from 32 to 192 kHz whose hundredth is whole. */
export function resamplerShape(sampleRateHz: number): ResamplerShape {
  const shared = greatestCommonDivisor(sampleRateHz, SPEECH_RATE_HZ)
  const taps = 8 * Math.ceil((REACH_SECONDS * sampleRateHz) / 4)
  return { phases: SPEECH_RATE_HZ / shared, step: sampleRateHz / shared, taps, reachFrames: taps / 2 }
}

function greatestCommonDivisor(a: number, b: number): number {
  return b === 0 ? a : greatestCommonDivisor(b, a % b)
}

/**
 * Brings float32 samples in kernel memory to 16 kHz, linear in phase and without delay: the first sample of the result
 * stands where frame 0 of `from` stands. `reachFrames` of `resamplerShape` must be readable on both sides.
 */
export function resampleForSpeech(
  kernels: Kernels,
  from: { readonly address: number; readonly sampleRateHz: number },
  to: { readonly address: number; readonly count: number },
): void {
  const { phases, step, taps } = resamplerShape(from.sampleRateHz)
  const mark = kernels.arena.mark()
  const table = kernels.arena.take(phases * taps * Float32Array.BYTES_PER_ELEMENT)
  kernels.exports.designResampler(table, phases, taps, CUT_OFF_HZ / from.sampleRateHz, BETA)
  kernels.exports.resample(from.address, table, phases, step, taps, to.address, to.count)
  kernels.arena.release(mark)
}
