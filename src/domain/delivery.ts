import type { Alteration, AlterationHistory, DialogueHistory } from './alteration.ts'
import type { Finding } from './findings.ts'
import type { LayoutName, Role } from './layout.ts'
import type { Measurements } from './measurements.ts'
import type { Clause, DeliverySpec } from './spec.ts'

/** The stereo beside a 5.1: its Lo/Ro fold-down, or the Lt/Rt that it was decoded from and encodes to again. */
export type StereoRole = 'lo-ro' | 'lt-rt'

/** What a delivered file is: the 5.1, its stereo, or a mix of any other layout. */
export type DeliverableRole = 'mix-5.1' | StereoRole | 'mix'

export function isStereoRole(role: DeliverableRole): role is StereoRole {
  return role === 'lo-ro' || role === 'lt-rt'
}

/** How far a measured value is inside (positive) or outside (negative) its limit; null where it was not measured. */
export type Margin = {
  /** The file that it speaks of. */
  readonly role: DeliverableRole
  /** The field of the measurements. */
  readonly line: string
  readonly measured: number | null
  /** The nearer bound where the line has two. */
  readonly limit: number
  readonly margin: number | null
  readonly unit: string
  readonly severity: 'fail' | 'warn'
  readonly source: Clause
}

/** The `count` margins that leave the least room, unmeasured lines first. */
export function thinnestMargins(all: readonly Margin[], count = 3): readonly Margin[] {
  const room = (margin: Margin) => margin.margin ?? Number.NEGATIVE_INFINITY
  return all.toSorted((a, b) => (room(a) < room(b) ? -1 : room(a) > room(b) ? 1 : 0)).slice(0, count)
}

/**
 * Whether the stereo file is what the 5.1 file becomes under its law, sample for sample, and how far that is from the
 * master under the gains of the stereo. `openedBy` names the settings that give the lock up on purpose.
 */
export type FoldDownLock = {
  /** Lo/Ro: the fold-down. Lt/Rt: the encode, its surrounds in the phase that they have in the 5.1. */
  readonly law: StereoRole
  readonly state: 'closed' | 'open'
  readonly differingSamples: number
  /** The coefficient k as it was computed, e.g. `sqrt(1/2)`. */
  readonly coefficient: string
  /** RMS of stereo minus master x gains; null where that was not measured or nothing is left. */
  readonly masterNullDbfs: number | null
  readonly openedBy: readonly string[]
  /** Constant of the stereo on top of the gains of the 5.1; 0 while one gain serves both. */
  readonly stereoGainDb: number
}

/** Loudness over time: value i is that of the window that starts at i x hopSeconds; -Infinity where nothing is heard. */
export type LoudnessCurve = {
  readonly windowSeconds: number
  readonly hopSeconds: number
  readonly lkfs: Float64Array
}

export type LoudnessCurves = { readonly momentary: LoudnessCurve; readonly shortTerm: LoudnessCurve }

/** Highest and lowest value of a curve in each column of a drawing; null where the curve has no value. */
export type DrawnCurve = { readonly low: readonly (number | null)[]; readonly high: readonly (number | null)[] }

/** The loudness of one file over time, thinned for drawing; column i covers the time from i x columnSeconds on. */
export type LoudnessHistory = {
  readonly columnSeconds: number
  readonly shortTermLkfs: DrawnCurve
  readonly momentaryLkfs: DrawnCurve
}

/** What is drawn over time beside loudness; column i covers the time from i x columnSeconds on. */
export type ProgrammeLanes = {
  readonly columnSeconds: number
  /** Share of each column that is dialogue, 0..1; null where nobody listened for speech. */
  readonly dialogue: readonly number[] | null
  /** K-weighted level of each channel, in channel order; null in a silent column. */
  readonly channels: readonly { readonly role: Role; readonly levelLkfs: readonly (number | null)[] }[]
}

/** The ride over time, thinned for drawing, with the bounds inside which it may move. */
export type RideHistory = {
  readonly columnSeconds: number
  readonly gainDb: DrawnCurve
  readonly corridorDb: {
    readonly lowest: readonly (number | null)[]
    readonly highest: readonly (number | null)[]
  } | null
}

/**
 * The reduction of one band over time, 0 dB or more, thinned for drawing: the low end, a band of the multiband, or the
 * band of a line of the spec, which is named by its id.
 */
export type BandHistory = {
  readonly name: string
  readonly fromHz: number | null
  readonly toHz: number | null
  readonly columnSeconds: number
  readonly reductionDb: DrawnCurve
}

/** A moment in which the ceiling turned the gain down. */
export type CeilingEvent = { readonly startSeconds: number; readonly endSeconds: number; readonly deepestDb: number }

export type DeliveredFile = {
  /** File name inside the delivery. */
  readonly path: string
  readonly role: DeliverableRole
  readonly sha256: string
  readonly bytes: number
  readonly bitsPerSample: number
  readonly measurements: Measurements
}

/** Everything that the JSON, the page and the manifest of a delivery say, and nothing else: no clock, no host. */
export type DeliveryReport = {
  readonly tool: { readonly name: 'plimsoll'; readonly version: string; readonly kernelsSha256: string }
  readonly title: { readonly id: string; readonly name: string; readonly language?: string }
  readonly conforms: boolean
  /** The outcome in one sentence. */
  readonly verdict: string
  /** Renders written and verified. */
  readonly passes: number
  readonly spec: DeliverySpec
  readonly source: {
    readonly path: string
    readonly sha256: string
    readonly layout: LayoutName
    readonly measurements: Measurements
    /** Origination date of the file's `bext` chunk, as it stands there. */
    readonly originatedOn: string | null
    /** Time of day of the first frame, from the time reference of the `bext` chunk. */
    readonly startOfDaySeconds: number | null
  }
  readonly deliverables: readonly DeliveredFile[]
  readonly foldDownLock: FoldDownLock | null
  readonly alteration: Alteration
  readonly findings: readonly Finding[]
  readonly margins: readonly Margin[]
  readonly history: {
    readonly source: LoudnessHistory | null
    readonly delivered: LoudnessHistory
    /** Of the file that `delivered` is of; null where that was not measured channel by channel. */
    readonly lanes: ProgrammeLanes | null
  }
  readonly ride: RideHistory | null
  /** What the LFE does on top of the ride; null: nothing. */
  readonly lfeRide: RideHistory | null
  /** What was turned down in bands: low end, multiband from below, lines of the spec; empty where nothing was. */
  readonly bands: readonly BandHistory[]
  readonly ceilingEvents: readonly CeilingEvent[]
  /** Null where nothing was rendered, or nothing but the static gain acted. */
  readonly altered: AlterationHistory | null
  /** Null where nobody listened, nobody speaks, or nothing was rendered. */
  readonly dialogue: DialogueHistory | null
  /** Every setting that had a say in the bytes, by name. */
  readonly settings: Readonly<Record<string, number | string>>
  readonly cautions: readonly string[]
}

/** PLR, highest true peak minus programme loudness, in LU; null where either cannot be measured. */
export function peakToLoudness(measurements: Measurements): number | null {
  const { maxTruePeakDbtp, programmeLoudnessLkfs } = measurements
  return maxTruePeakDbtp === null || programmeLoudnessLkfs === null ? null : maxTruePeakDbtp - programmeLoudnessLkfs
}
