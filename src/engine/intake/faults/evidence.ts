import type { FrameRange, SampleEncoding } from '../../../domain/index.ts'

/** What one segment leaves behind. Everything is small: series of 10 ms, 100 ms and 1 s, and lists with a bound. */
export type FaultEvidence = {
  readonly firstFrame: number
  readonly frameCount: number
  readonly encoding: SampleEncoding
  readonly levels: LevelEvidence
  readonly words: WordEvidence
  /** In channel order. */
  readonly channels: readonly ChannelEvidence[]
}

/** Energies and products are sums over the frames of a hop; the last hop may be short. */
export type LevelEvidence = {
  readonly hopCount: number
  /** Level of each begun 10 ms in half decibels above -127 dBFS, `[fineHop * channelCount + channel]`. */
  readonly fineLevels: Uint8Array
  /** `[hop * channelCount + channel]`, per begun 100 ms. */
  readonly energies: Float32Array
  /** Sum of samples, `[hop * channelCount + channel]`. */
  readonly sums: Float32Array
  /** Sum of products of each pair of `pairsOf(layout)`, `[hop * pairCount + pair]`. */
  readonly products: Float32Array
  /** Energy of C against the sum of L and R, where there is a C: sum of (L + R) squared, per hop. */
  readonly frontSums: Float32Array
  /** Energy of Lo and Ro (or of L and R) together, and of their sum, `[hop * 2]`. */
  readonly sides: Float32Array
  /** Highest |sample| per channel. */
  readonly peaks: Float32Array
}

/** What the words of the file show before they become sound. */
export type WordEvidence = {
  readonly windowCount: number
  /** Bits used in each begun second, `[window * channelCount + channel]`: 0 in silence, `OFF_GRID` off every grid. */
  readonly usedBits: Uint8Array
  /** Per channel: how many samples are NaN or infinite, and where. */
  readonly notFinite: readonly Occurrences[]
}

export const OFF_GRID = 255

export type Occurrences = { readonly count: number; readonly places: readonly FrameRange[] }

/** Flat tops at one level of one polarity. */
export type Cap = {
  readonly level: number
  readonly runs: number
  /** Flat runs at the same level that a square wave or a slow top may be. */
  readonly naturalRuns: number
  readonly longestFrames: number
  /** The longest of them, in order of time. */
  readonly places: readonly FrameRange[]
}

/** A stretch of near silence in sound, or a piece of one that the segment's border cuts. */
export type QuietPiece = FrameRange & {
  /** Null where the stretch began before the segment (goes on after it); else what its edge looks like. */
  readonly start: Edge | null
  readonly end: Edge | null
  /** Whether its samples are zeros, not a quiet noise. */
  readonly isZeroed: boolean
}

export type Edge = {
  /** Whether the wave was cut where it had neither died away nor come to rest. */
  readonly isHard: boolean
  /** Whether the cut is a larger break than any in the sound beside it. */
  readonly isBreak: boolean
  /** RMS of the sound beside it. */
  readonly level: number
}

export type Repeat = FrameRange & {
  /** Length of what is repeated. */
  readonly blockFrames: number
}

export type Click = FrameRange & {
  /** How far the samples stand off the wave that their neighbours predict, full scale = 1. */
  readonly height: number
  /** The same over the usual error of the prediction. */
  readonly prominence: number
}

export type Over = FrameRange & {
  /** Highest point between the samples, full scale = 1. */
  readonly value: number
}

export type ChannelEvidence = {
  readonly caps: readonly Cap[]
  /** Floating point beyond full scale, joined over 100 ms. */
  readonly beyondFullScale: Occurrences & { readonly highest: number }
  readonly overs: { readonly count: number; readonly highest: readonly Over[] }
  /** Stretches within the floor of silence, and within that of crosstalk. */
  readonly silent: readonly QuietPiece[]
  readonly low: readonly QuietPiece[]
  readonly repeats: readonly Repeat[]
  readonly held: Occurrences
  /** Frames that belong to stretches where every sample stands twice. */
  readonly doubledFrames: number
  readonly clicks: readonly Click[]
}
