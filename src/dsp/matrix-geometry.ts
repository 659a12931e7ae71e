import { assert, framesPerSegment, SAMPLE_RATES_HZ } from '../domain/index.ts'

/**
 * The transform and the smoothing of the Lt/Rt decoder at one sample rate.
 * @source docs/decisions/0020: of 1024 .. 8192 frames at 48 kHz 4096 part four simultaneous sounds best
 */
export type MatrixGeometry = {
  readonly transformFrames: number
  /** Frames from one transform to the next; segments start on whole multiples of it. */
  readonly hopFrames: number
  readonly hopsPerTransform: number
  /** Floats of a spectrum plane: bins 0 .. transformFrames / 2 and padding. */
  readonly stride: number
  readonly lastBin: number
  /** Half widths in hops of the Hann-weighted means: of a frame's powers, and of its neighbourhood. */
  readonly shortHalf: number
  readonly nearHalf: number
  /** Bins to each side that belong to the neighbourhood. */
  readonly nearBins: number
}

const TRANSFORM_FRAMES_AT_48_KHZ = 4096
const LEAST_HOPS_PER_TRANSFORM = 4
const SHORT_SECONDS = 0.02
const NEAR_SECONDS = 0.26
const NEAR_BINS = 24

export function matrixGeometry(sampleRateHz: number): MatrixGeometry {
  assert(SAMPLE_RATES_HZ.includes(sampleRateHz), `no decoding of Lt/Rt at ${sampleRateHz} Hz`)
  let transformFrames = 64
  while (transformFrames < (TRANSFORM_FRAMES_AT_48_KHZ * sampleRateHz) / 48000) transformFrames *= 2
  let hopsPerTransform = LEAST_HOPS_PER_TRANSFORM
  while (framesPerSegment(sampleRateHz) % (transformFrames / hopsPerTransform) !== 0) hopsPerTransform *= 2
  const hopFrames = transformFrames / hopsPerTransform
  const hops = (seconds: number) => Math.max(1, Math.round((seconds * sampleRateHz) / hopFrames))
  return {
    transformFrames,
    hopFrames,
    hopsPerTransform,
    stride: transformFrames / 2 + 4,
    lastBin: transformFrames / 2,
    shortHalf: hops(SHORT_SECONDS),
    nearHalf: hops(NEAR_SECONDS),
    nearBins: NEAR_BINS,
  }
}
