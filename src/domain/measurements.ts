import type { FrameRange } from './frame-range.ts'
import type { LayoutName, Role } from './layout.ts'
import type { BandLine } from './spec.ts'

/** A highest value and the frame where it stands (frame of the programme, from 0). Linear, full scale = 1. */
export type Peak = { readonly value: number; readonly frameIndex: number }

export type ChannelPeaks = { readonly samplePeak: Peak; readonly truePeak: Peak }

/**
 * What one pass over a stretch of audio leaves behind: everything that is ever said about its loudness and peaks
 * is computed from these numbers. Energies are mean squares of the K-weighted signal, full scale = 1.
 * Segments of a programme are joined by `joinMeasured`; the result does not depend on where it was cut.
 */
export type Measured = {
  readonly sampleRateHz: number
  readonly layout: LayoutName
  readonly frameCount: number
  /** Sum over channels of weight x mean square, one value per whole 10 ms. */
  readonly programme10ms: Float64Array
  /**
   * The same of the Lo/Ro fold-down; null where the layout has none. Of an Lt/Rt that is decoded to be fitted it is the
   * Lt/Rt: see `besideMaster`.
   */
  readonly foldDown10ms: Float64Array | null
  /** Mean square of each channel, unweighted, `[hop * channelCount + channel]`, one row per whole 100 ms. */
  readonly channels100ms: Float64Array
  /** Highest |sample| over all channels but the LFE, and over the fold-down; one value per begun 100 ms. */
  readonly linkedPeak100ms: Float64Array
  /** Highest |sample| of the LFE, per begun 100 ms; null where there is no LFE. */
  readonly lfePeak100ms: Float64Array | null
  /**
   * True peak of each channel, linear, `[hop * channelCount + channel]`, one row per begun 100 ms; null where it was not
   * asked for. A point between samples belongs to the 100 ms in which it is known, 6 frames after it.
   */
  readonly truePeak100ms: Float32Array | null
  /** The same of Lo and Ro, `[hop * 2]` and `[hop * 2 + 1]`; null also where the layout has no fold-down. */
  readonly foldDownTruePeak100ms: Float32Array | null
  /**
   * Mean square, unweighted, `[2 * hop]` of the LFE and `[2 * hop + 1]` of the low end of L, R and C together, of every
   * begun 100 ms; absent where it was not asked for. See `FRONT_LOW_END_HZ`.
   */
  readonly sub100ms?: Float64Array
  /** The bands that a spec has lines for, in its order; absent where it was not asked for. */
  readonly bandPowers?: readonly BandPowers[]
  /** In channel order. */
  readonly channels: readonly ChannelPeaks[]
  /** Lo and Ro. */
  readonly foldDown: readonly [ChannelPeaks, ChannelPeaks] | null
  /** Samples that were NaN or infinite (they are measured as 0). */
  readonly nonFiniteSampleCount: number
}

/** Mean square of a band, all channels but the LFE together, unweighted, of every begun 100 ms. */
export type BandPowers = { readonly line: BandLine; readonly powers100ms: Float64Array }

/**
 * What was measured of one stretch of a programme by itself, and where the stretch begins. No window and no gating
 * block reaches out of it.
 */
export type MeasuredPart = { readonly startFrame: number; readonly measured: Measured }

/** The figures of one signal as they stand in reports and JSON; what cannot be measured is null. */
export type LoudnessFigures = {
  readonly programmeLoudnessLkfs: number | null
  readonly loudnessRangeLu: number | null
  readonly maxMomentaryLkfs: number | null
  readonly maxShortTermLkfs: number | null
  readonly maxTruePeakDbtp: number | null
  readonly samplePeakDbfs: number | null
}

export type ChannelFigures = {
  readonly role: Role
  readonly maxTruePeakDbtp: number | null
  readonly samplePeakDbfs: number | null
}

/** One line of dialogue: a run of speech of at least a second. */
export type DialogueLine = FrameRange & {
  readonly loudnessLkfs: number
  /** Against the 5 s before and behind it where nobody speaks; null where that is silent. */
  readonly overBackgroundLu: number | null
}

export type DialogueFigures = {
  /** Programme loudness minus dialogue loudness (EBU R 128 s4). */
  readonly programmeMinusDialogueLu: number | null
  /** How lines of dialogue, background included, stand over what is heard around them: the median of all lines. */
  readonly dialogueOverBackgroundLu: number | null
  /** At most five, the quietest first. */
  readonly quietestLines: readonly DialogueLine[]
}

/** The sub as it is in the file, without the 10 dB that are added to it on replay. */
export type LfeFigures = {
  /** Highest level in any 3 s, RMS, full scale = 1: a sine at full scale reads -3.0. */
  readonly maxShortTermDbfs: number | null
  /** Most that it stands above the low end of L, R and C in any 3 s. */
  readonly overFrontsDb: number | null
}

/** The measurements of a file as `measure --json` and `report.json` print them. */
export type Measurements = LoudnessFigures & {
  readonly layout: LayoutName
  readonly sampleRateHz: number
  readonly frameCount: number
  readonly durationSeconds: number
  readonly dialogueLoudnessLkfs: number | null
  readonly dialogueShare: number | null
  /** What else is said of dialogue; null where there is none, or nobody listened. */
  readonly dialogue: DialogueFigures | null
  /** Null where there is no LFE, or no spec asks for it. */
  readonly lfe: LfeFigures | null
  /** Value of each band line of the spec by its id, in the unit of the line; null where no spec asks for one. */
  readonly bandLevels: Readonly<Record<string, number | null>> | null
  readonly channels: readonly ChannelFigures[]
  readonly foldDown: {
    /** With the loudness of what is dialogue in the mix. */
    readonly loRo: (LoudnessFigures & { readonly dialogueLoudnessLkfs: number | null }) | null
    readonly ltRt: LoudnessFigures | null
    readonly mono: LoudnessFigures | null
  }
}
