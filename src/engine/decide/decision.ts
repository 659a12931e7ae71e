import type {
  BandLinePlan,
  BandsPlan,
  Finding,
  FrameRange,
  GainPlan,
  HeardMoves,
  LowEndPlan,
  RideTouch,
  SlowCeiling,
} from '../../domain/index.ts'
import type { Lock, RideLimit } from './corridor.ts'
import type { JudgedSignal, WindowLine } from './judged-lines.ts'

/** Figures that a signal will show under the plan; what cannot be measured is null. */
export type ExpectedFigures = {
  /** What is held against the target: the gated total, or the loudness of dialogue. */
  readonly anchorLkfs: number | null
  readonly maxShortTermLkfs: number | null
  readonly maxMomentaryLkfs: number | null
}

export type Expected = ExpectedFigures & {
  /** The Lo/Ro fold-down, with the gain of its own where it has one; null where the layout has none. */
  readonly foldDown: ExpectedFigures | null
}

/** A stretch where the ride lies at the upper bound of the corridor: the passage that forces the gain down. */
export type Touch = {
  readonly startSeconds: number
  readonly endSeconds: number
  /** The hop where the gain is lowest. */
  readonly hop: number
  /** Ride at that hop, relative to the static gain. */
  readonly rideDb: number
  /** The line of the spec that sets the bound there, and the signal on which it is judged. */
  readonly line: WindowLine['field'] | 'loudnessRangeLu'
  readonly signal: JudgedSignal
}

/** The proof that goes with a ride: the bounds inside which it moves least, and what it did there. */
export type Certificate = {
  /** In words, with the conditions under which it holds. */
  readonly statement: string
  /** Bounds of the ride relative to the static gain, one value a hop. */
  readonly corridor: { readonly lowerDb: Float64Array; readonly upperDb: Float64Array }
  /** The ride itself, relative to the static gain, without the mixer's trims. */
  readonly rideDb: Float64Array
  readonly touching: readonly Touch[]
  /** Sum of all rises and falls. */
  readonly movementDb: number
  /** The same, each step times what it costs there: the sum that nothing inside the corridor undercuts. */
  readonly weightedMovementDb: number
  /** The part of it that lies inside lines of dialogue; null where nobody listened. */
  readonly movementInDialogueDb: number | null
  /** The lines that it moves in, null where nobody listened, and the hits that it announces. */
  readonly lines: HeardMoves | null
  readonly hits: HeardMoves
  readonly largestMoveDb: number
  readonly largestSlewDbPerSecond: number
  /** Share of the time in which the gain moves, 0..1. */
  readonly movingShare: number
  /** Reduction summed over time. */
  readonly areaUnderReductionDbSeconds: number
}

/** The proof that goes with the LFE's own ride. */
export type LfeCertificate = Pick<
  Certificate,
  | 'statement'
  | 'corridor'
  | 'rideDb'
  | 'movementDb'
  | 'largestMoveDb'
  | 'largestSlewDbPerSecond'
  | 'movingShare'
  | 'areaUnderReductionDbSeconds'
> & { readonly touching: readonly RideTouch[] }

export type Decision = {
  readonly plan: GainPlan
  /** Constant that the stereo gets on top of the plan; 0 while one gain serves both. Multiple of `GAIN_STEP_DB`. */
  readonly stereoGainDb: number
  readonly expected: Expected
  /** Null: no ride. */
  readonly certificate: Certificate | null
  /** Null or absent: the LFE has no ride of its own. */
  readonly lfe?: LfeCertificate | null
  /** False: no gain makes this programme conform; `findings` say why, and the plan is the nearest there is. */
  readonly feasible: boolean
  /** True where it is infeasible by forecast alone, which only a render can confirm: what the ceiling or the range leaves. */
  readonly isUnproved: boolean
  readonly findings: readonly Finding[]
}

/** What is known beyond the measurements of the source: the mixer's word, the ceiling's forecast, an earlier render. */
export type FitCorrection = {
  /** The mixer's trims, one point a hop, in steps of a plan's gains: they come first, and the rest is solved around them. */
  readonly trimsDb?: Float64Array
  /** The stretches that are measured and fitted, in order; absent: everything. */
  readonly programme?: readonly FrameRange[]
  /** 1 on the hops of dialogue, whose loudness is held against the target; absent: the gated total is. */
  readonly dialogue100ms?: Uint8Array
  /** 1 on the hops of the lines of dialogue, in which the ride would rather not move; absent: nobody listened. */
  readonly speech100ms?: Uint8Array
  readonly locks?: readonly Lock[]
  /** Stretches where the mixer says how low and how high beside the static gain the ride goes. */
  readonly limits?: readonly RideLimit[]
  /** What the ceiling takes from each hop by forecast, 0 or less, one value a hop. */
  readonly ceilingLossDb?: Float64Array
  /** Highest home gain that may make up for what the ceiling takes. */
  readonly ceilingBoundDb?: number
  /** The slow part of the ceiling as planned before; null: it rests. Absent: it is planned. */
  readonly slowCeiling?: SlowCeiling | null
  /** What is done to the low end before all else; what is measured was measured behind it. */
  readonly lowEnd?: LowEndPlan
  /** What is done to bands behind that; measured behind both. */
  readonly bands?: BandsPlan
  /** What the lines of the spec ask of single bands, behind both; measured behind all of it. */
  readonly bandLines?: readonly BandLinePlan[]
  /** The levels of the sub behind that treatment, as `Measured` has them, where a line of the spec moves the LFE. */
  readonly sub100ms?: Float64Array
  /** Added to the guard below each line of the LFE, by its field: by how much a render went over. */
  readonly lfeShiftDb?: Readonly<Record<string, number>>
  /** Added to the target: what a render missed. */
  readonly aimShiftLu?: number
  /** Added to the guard below each window line: by how much a render went over. */
  readonly guardShiftLu?: number
  /** Taken off the range that a line allows: by how much a render went over. */
  readonly rangeShiftLu?: number
  /** Taken off the ceiling: by how much a render went over the true-peak line. */
  readonly ceilingShiftDb?: number
}
