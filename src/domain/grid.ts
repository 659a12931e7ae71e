/**
 * The time grid that every stage shares. All of it starts at frame 0 of the programme.
 * Rates from 32 to 192 kHz whose hundredth is whole: 10 ms, 100 ms and 25.6 s are whole numbers of frames.
 */

/** The rates that Plimsoll works at. */
export const SAMPLE_RATES_HZ: readonly number[] = [32000, 44100, 48000, 88200, 96000, 176400, 192000]

/** Momentary and short-term maxima are searched on this grid. */
export const FINE_HOPS_PER_SECOND = 100

/** Gating blocks start on this grid (75 % overlap of 400 ms, BS.1770-5 Annex 1) and ride points sit on it. */
export const HOPS_PER_SECOND = 10

export const FINE_HOPS_PER_HOP = FINE_HOPS_PER_SECOND / HOPS_PER_SECOND

/** The unit of work of every parallel stage, also with one worker: 25.6 s. */
export const HOPS_PER_SEGMENT = 256

export function framesPerFineHop(sampleRateHz: number): number {
  return sampleRateHz / FINE_HOPS_PER_SECOND
}

export function framesPerHop(sampleRateHz: number): number {
  return sampleRateHz / HOPS_PER_SECOND
}

export function framesPerSegment(sampleRateHz: number): number {
  return framesPerHop(sampleRateHz) * HOPS_PER_SEGMENT
}

export type Segment = {
  readonly index: number
  readonly firstFrame: number
  /** Equal to `framesPerSegment` but for the last segment. */
  readonly frameCount: number
}

export function segmentCount(frameCount: number, sampleRateHz: number): number {
  return Math.ceil(frameCount / framesPerSegment(sampleRateHz))
}

export function segmentAt(index: number, frameCount: number, sampleRateHz: number): Segment {
  const length = framesPerSegment(sampleRateHz)
  const firstFrame = index * length
  return { index, firstFrame, frameCount: Math.min(length, frameCount - firstFrame) }
}
