import { assert, SAMPLE_RATES_HZ } from '../domain/index.ts'

/**
 * The transform and the smoothing of the upmix at one sample rate.
 * @source docs/decisions: 1024 frames at 48 kHz kept images and dialogue best of 256 .. 8192; the averaging times are ours
 */
export type UpmixGeometry = {
  readonly sampleRateHz: number
  readonly transformFrames: number
  /** Frames from one transform to the next: a quarter of its length. */
  readonly hopFrames: number
  /** Floats of a spectrum plane: bins 0 .. transformFrames / 2 and padding. */
  readonly stride: number
  readonly lastBin: number
  /** Half widths of the Hann-weighted means over time, in pairs of hops: weights hold for two transforms. */
  readonly centreHalf: number
  readonly floorHalf: number
  readonly ambienceHalf: number
  readonly fineHalf: number
  /** Pairs of hops by which the centre, and then the surrounds, stand behind the newest transforms. */
  readonly centreLag: number
  readonly surroundLag: number
  /** Onsets are looked for in blocks, in the differences over some delays; signals fade over one block. */
  readonly onsetBlockFrames: number
  readonly onsetDelays: readonly number[]
  /** Absolute leak of the weights: far below the noise of a 24-bit word. */
  readonly leak: number
}

const TRANSFORM_FRAMES_AT_48_KHZ = 1024
const HOPS_PER_TRANSFORM = 4
const CENTRE_SECONDS = 0.06
const FLOOR_SECONDS = 0.2
const AMBIENCE_SECONDS = 0.12
const FINE_SECONDS = 0.03
/** Blocks are a quarter to a third of a millisecond long: 16 frames at 44.1 and 48 kHz, powers of two at every rate. */
const ONSET_BLOCKS_PER_SECOND = 2700
/** High-passes with corners of about 250 Hz, 1, 2 and 8 kHz: what hides a beginning in one may not in another. */
const ONSET_DELAYS_BLOCKS = [2, 1 / 2, 1 / 4, 1 / 16]
const LEAK_AT_1024 = 1e-14

export function upmixGeometry(sampleRateHz: number): UpmixGeometry {
  assert(SAMPLE_RATES_HZ.includes(sampleRateHz), `no upmix at ${sampleRateHz} Hz`)
  let transformFrames = 64
  while (transformFrames < (TRANSFORM_FRAMES_AT_48_KHZ * sampleRateHz) / 48000) transformFrames *= 2
  const hopFrames = transformFrames / HOPS_PER_TRANSFORM
  let onsetBlockFrames = 1
  while (2 * onsetBlockFrames * ONSET_BLOCKS_PER_SECOND <= sampleRateHz) onsetBlockFrames *= 2
  const pairs = (seconds: number) => Math.round((seconds * sampleRateHz) / (2 * hopFrames))
  return {
    sampleRateHz,
    transformFrames,
    hopFrames,
    stride: transformFrames / 2 + 4,
    lastBin: transformFrames / 2,
    centreHalf: pairs(CENTRE_SECONDS),
    floorHalf: pairs(FLOOR_SECONDS),
    ambienceHalf: pairs(AMBIENCE_SECONDS),
    fineHalf: pairs(FINE_SECONDS),
    centreLag: pairs(FLOOR_SECONDS),
    surroundLag: pairs(FLOOR_SECONDS) + pairs(CENTRE_SECONDS),
    onsetBlockFrames,
    onsetDelays: ONSET_DELAYS_BLOCKS.map((blocks) => Math.max(1, blocks * onsetBlockFrames)),
    leak: (LEAK_AT_1024 * transformFrames) / TRANSFORM_FRAMES_AT_48_KHZ,
  }
}

/** The band in which speech is looked for, and where the surrounds are ducked for it. */
const SPEECH_LOW_HZ = 200
const SPEECH_HIGH_HZ = 5000
const DUCK_RISE_HZ = [100, 200] as const
const DUCK_FALL_HZ = [6000, 9000] as const

/** First and last bin whose common power tells whether something in the middle speaks. */
export function speechBins(geometry: UpmixGeometry): { readonly first: number; readonly last: number } {
  const spacingHz = geometry.sampleRateHz / geometry.transformFrames
  return { first: Math.ceil(SPEECH_LOW_HZ / spacingHz), last: Math.floor(SPEECH_HIGH_HZ / spacingHz) }
}

/** How far the surrounds may be ducked at a bin: 0 .. 1. */
export function duckBand(geometry: UpmixGeometry, bin: number): number {
  const hz = (bin * geometry.sampleRateHz) / geometry.transformFrames
  const clip = (x: number) => Math.max(0, Math.min(1, x))
  const rise = clip((hz - DUCK_RISE_HZ[0]) / (DUCK_RISE_HZ[1] - DUCK_RISE_HZ[0]))
  return rise * clip((DUCK_FALL_HZ[1] - hz) / (DUCK_FALL_HZ[1] - DUCK_FALL_HZ[0]))
}

/**
 * The bins of an average over `erbs` equivalent rectangular bandwidths around a bin, cut at the ends of the spectrum.
 * @source Glasberg and Moore, Hearing Research 47 (1990): ERB(f) = 24.7 (4.37 f / 1000 + 1) Hz
 */
export function binReach(
  geometry: UpmixGeometry,
  bin: number,
  erbs: number,
): { readonly first: number; readonly last: number } {
  const spacingHz = geometry.sampleRateHz / geometry.transformFrames
  const erbHz = 24.7 * ((4.37 * bin * spacingHz) / 1000 + 1)
  const half = Math.floor((erbs * erbHz) / 2 / spacingHz)
  return { first: Math.max(0, bin - half), last: Math.min(geometry.lastBin, bin + half) }
}

/** Widths of the averages over bins: of the powers, and of the share of common power. */
export const POWER_ERBS = 0.5
export const FINE_ERBS = 1

/** Frames from one transform of the upmix to the next; segments start on whole multiples of it at every rate. */
export function upmixHopFrames(sampleRateHz: number): number {
  return upmixGeometry(sampleRateHz).hopFrames
}
