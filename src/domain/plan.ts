import type { FrameRange } from './frame-range.ts'
import { framesPerHop } from './grid.ts'

/** Gains of a plan are whole multiples of this, so that a plan written as text is the plan that was rendered. */
export const GAIN_STEP_DB = 1 / 4096

export function roundToGainStep(gainDb: number): number {
  return Math.round(gainDb / GAIN_STEP_DB) * GAIN_STEP_DB
}

/** The highest gain of a plan that is not above `gainDb`. */
export function floorToGainStep(gainDb: number): number {
  return Math.floor(gainDb / GAIN_STEP_DB) * GAIN_STEP_DB
}

/**
 * The gain that every channel and the fold-down receive: static gain + ride, then the ceiling.
 * The bytes of a delivery are a function of the source, this plan and the settings of the upmix.
 */
export type GainPlan = {
  /** Multiple of `GAIN_STEP_DB`. 0 with no ride: the stage is skipped and samples stay exact. */
  readonly staticGainDb: number
  /**
   * Ride in dB relative to the static gain, one point at the centre of each begun 100 ms hop, linear in dB between
   * the points, held before the first and after the last. Multiples of `GAIN_STEP_DB`. Null: no ride.
   */
  readonly rideDb: Float64Array | null
  /** Acts before all of this, on every channel but the LFE and on the stereo; null or absent: nothing does. */
  readonly lowEnd?: LowEndPlan | null
  /** True peak that the ceiling stage keeps below, on all linked signals and on the LFE; null: no ceiling. */
  readonly ceilingDbtp: number | null
  /** What the ceiling takes for as long as its work lasts; null or absent: it works on single peaks only. */
  readonly slowCeiling?: SlowCeiling | null
  /** The stretches in which all of this acts, in order; outside of them samples stay exact. Absent: everywhere. */
  readonly programme?: readonly FrameRange[] | undefined
}

/**
 * The slow part of the ceiling, in dB, 0 or less, on the points of the ride and in steps of `GAIN_STEP_DB`: on the linked
 * signals, and on the LFE. The fast part takes what is left. Null: that part rests.
 */
export type SlowCeiling = {
  readonly linkedDb: Float64Array | null
  readonly lfeDb: Float64Array | null
}

/** A gain of the band below the crossover, in dB, on the points of the ride and in steps of `GAIN_STEP_DB`. */
export type LowEndPlan = { readonly crossoverHz: number; readonly gainDb: Float64Array }

/** Whether the low end is turned down anywhere in these frames: elsewhere samples stay exact. */
export function isLowEndAtWork(
  plan: LowEndPlan | null | undefined,
  frames: { readonly firstFrame: number; readonly frameCount: number; readonly sampleRateHz: number },
): boolean {
  if (plan === null || plan === undefined) return false
  const hop = framesPerHop(frames.sampleRateHz)
  const first = Math.max(0, Math.floor(frames.firstFrame / hop) - 1)
  const end = Math.ceil((frames.firstFrame + frames.frameCount) / hop) + 1
  return plan.gainDb.subarray(first, end).some((db) => db !== 0)
}
