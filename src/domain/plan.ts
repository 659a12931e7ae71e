import { cornersOf } from './band-corners.ts'
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
  /** What the LFE gets on top of static gain and ride, in dB, 0 or less, on the points of the ride; null: the same as the others. */
  readonly lfeRideDb?: Float64Array | null
  /** Acts before all of this, on every channel but the LFE and on the stereo; null or absent: nothing does. */
  readonly lowEnd?: LowEndPlan | null
  /** Acts behind it, on the same signals; null or absent: nothing does. */
  readonly bands?: BandsPlan | null
  /** What the lines of a spec ask of single bands, one behind the other and behind all of that; absent: nothing. */
  readonly bandLines?: readonly BandLinePlan[]
  /** True peak that the ceiling stage keeps below, on all linked signals and on the LFE; null: no ceiling. */
  readonly ceilingDbtp: number | null
  /** The same for the LFE where it has a line of its own; null or absent: it shares that of the others. */
  readonly lfeCeilingDbtp?: number | null
  /** How far groups of channels may be limited by themselves; null or absent: one gain for all. */
  readonly ceilingLink?: CeilingLink | null
  /** What the ceiling takes for as long as its work lasts; null or absent: it works on single peaks only. */
  readonly slowCeiling?: SlowCeiling | null
  /** The stretches in which all of this acts, in order; outside of them samples stay exact. Absent: everywhere. */
  readonly programme?: readonly FrameRange[] | undefined
}

/** What shares a gain in the fast part of the ceiling, and how much of it a group may take by itself. */
export type CeilingLink = {
  /** L and R, C, the surrounds (`groups`), or each channel (`none`; L and R of an upmix stay together). */
  readonly grouping: 'groups' | 'none'
  /** Positive, dB: what a group needs beyond it, all channels give. */
  readonly mostDb: number
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

/**
 * Gains of the bands between crossovers, lowest band first and one more than there are crossovers, in dB, on the points
 * of the ride and in steps of `GAIN_STEP_DB`. Null: that band rests.
 */
export type BandsPlan = {
  readonly crossoversHz: readonly number[]
  readonly gainsDb: readonly (Float64Array | null)[]
}

/**
 * The band of a spec's line and the gain that was solved for it, in dB, 0 or less, on the points of the ride and in steps
 * of `GAIN_STEP_DB`.
 */
export type BandLinePlan = {
  /** Id of the line. */
  readonly line: string
  /** 1; 2 and 3 behind it where the gentle slopes of one pass leave too much of the band. */
  readonly pass: number
  readonly fromHz: number | null
  readonly toHz: number | null
  readonly gainDb: Float64Array
}

/** Where the ceiling of the LFE stands; null: it has none. */
export function ceilingOfLfe({ ceilingDbtp, lfeCeilingDbtp = null }: GainPlan): number | null {
  return lfeCeilingDbtp ?? ceilingDbtp
}

/** Frames of a programme at its rate. */
type Frames = { readonly firstFrame: number; readonly frameCount: number; readonly sampleRateHz: number }

/** The treatment of the low end as bands: one that acts, and all above it at rest. */
export function lowEndAsBands({ crossoverHz, gainDb }: LowEndPlan): BandsPlan {
  return { crossoversHz: [crossoverHz], gainsDb: [gainDb, null] }
}

/** What all passes of each line together do in the middle of its band. */
export function bandLineCurves(bandLines: readonly BandLinePlan[]): readonly Omit<BandLinePlan, 'pass'>[] {
  return bandLines
    .filter(({ pass }) => pass === 1)
    .map(({ line, fromHz, toHz, gainDb }) => {
      const more = bandLines.filter((other) => other.line === line && other.pass > 1)
      return {
        line,
        fromHz,
        toHz,
        gainDb: gainDb.map((db, k) => more.reduce((sum, of) => sum + (of.gainDb[k] ?? 0), db)),
      }
    })
}

/** The band of a line as bands: one that acts, and what lies beside it at rest. */
export function bandLineAsBands({ fromHz, toHz, gainDb }: BandLinePlan): BandsPlan {
  const { crossoversHz, band } = cornersOf({ fromHz, toHz })
  const gainsDb = Array.from({ length: crossoversHz.length + 1 }, (_, at) => (at === band ? gainDb : null))
  return { crossoversHz, gainsDb }
}

/** What is done to bands of the programme before any gain, in order. */
export function bandTreatments({ lowEnd = null, bands = null, bandLines = [] }: GainPlan): readonly BandsPlan[] {
  return [
    ...(lowEnd === null ? [] : [lowEndAsBands(lowEnd)]),
    ...(bands === null ? [] : [bands]),
    ...bandLines.map(bandLineAsBands),
  ]
}

/** Whether any band is turned down anywhere in these frames: elsewhere samples stay exact. */
export function areBandsAtWork({ gainsDb }: BandsPlan, frames: Frames): boolean {
  return gainsDb.some((gainDb) => isAtWork(gainDb, frames))
}

/** Whether a gain on the points of the ride differs from 0 dB anywhere in these frames. */
export function isAtWork(gainDb: Float64Array | null, { firstFrame, frameCount, sampleRateHz }: Frames): boolean {
  if (gainDb === null) return false
  const hop = framesPerHop(sampleRateHz)
  const end = Math.min(gainDb.length, Math.ceil((firstFrame + frameCount) / hop) + 1)
  for (let k = Math.max(0, Math.floor(firstFrame / hop) - 1); k < end; k++) if (gainDb[k] !== 0) return true
  return false
}
