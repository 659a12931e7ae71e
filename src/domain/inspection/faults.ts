import type { Severity } from '../findings.ts'
import type { FrameRange } from '../frame-range.ts'
import type { LayoutName, Role } from '../layout.ts'

export type FaultId =
  | 'clipped'
  | 'over-full-scale'
  | 'inter-sample-over'
  | 'dropout'
  | 'repeat'
  | 'held-samples'
  | 'click'
  | 'dc-offset'
  | 'dead-channel'
  | 'intermittent-channel'
  | 'inverted-pair'
  | 'mono-loss'
  | 'unused-bits'
  | 'not-finite'
  | 'digital-silence'

/** Something that is wrong with the sound or the file, or that the mixer should know before using it. */
export type Fault = FrameRange & {
  readonly id: FaultId
  /** The channels that have it, in channel order. */
  readonly channels: readonly Role[]
  readonly severity: Severity
  /** How many single occurrences the fault joins. */
  readonly count: number
  /** The occurrences themselves, in order of time: all of them, or the worst where there are many. */
  readonly places: readonly FrameRange[]
  /** What was measured; the names carry their units. */
  readonly figures: Readonly<Record<string, number>>
  /** Sentences to the mixer: what was found and what to do. */
  readonly message: string
  /** The published document and clause, or `common practice`. */
  readonly source: string
}

/** What is known of each channel whether or not anything is wrong with it. */
export type ChannelCondition = {
  readonly role: Role
  /** Null where the channel is digitally silent. */
  readonly samplePeakDbfs: number | null
  /** Level of the whole programme, mean square, full scale = 0 dB; null where the channel is digitally silent. */
  readonly levelDbfs: number | null
  /** Mean of all samples, full scale = 1. */
  readonly dcOffset: number
  /** Bits that the samples really use, sign included; null in silence and in floating point off every grid. */
  readonly usedBits: number | null
  readonly clippedRuns: number
  readonly longestClippedRunFrames: number
  readonly interSampleOvers: number
  readonly clicks: number
}

/** Everything that the look for faults found. */
export type FaultReport = {
  readonly layout: LayoutName
  readonly faults: readonly Fault[]
  readonly channels: readonly ChannelCondition[]
  /**
   * Power of the mono sum over the power of the two sides, of the programme or its Lo/Ro: +3 dB for equal sides,
   * 0 dB where they have nothing in common, less where they cancel. Null for mono and for silence.
   */
  readonly monoSumDb: number | null
}
