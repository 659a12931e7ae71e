import type { FrameRange } from '../frame-range.ts'
import type { Role } from '../layout.ts'
import type { ProgrammeSegment, SegmentKind } from '../segments.ts'
import type { FrameRateName } from '../timecode.ts'

/** A stretch of the proposed map, with what speaks for it. `silence` stands between tone, slate and leader. */
export type ProposedSegment = Omit<ProgrammeSegment, 'kind'> & {
  readonly kind: SegmentKind | 'silence'
  /** 0 (a guess) to 1. */
  readonly confidence: number
  /** What was seen, in sentences to the mixer. */
  readonly evidence: readonly string[]
}

/** A tone that stands alone: steady, pure, nothing beside it. */
export type FoundTone = FrameRange & {
  /** `interrupted`: with regular gaps in some channels, as ident tones have. `pop`: one video frame long. */
  readonly kind: 'steady' | 'interrupted' | 'beep' | 'pop'
  readonly channels: readonly Role[]
  readonly frequencyHz: number
  /** Level of the sine: 0 dBFS reaches full scale. */
  readonly levelDbfs: number
}

/** What speaks for a picture rate, e.g. a pop of 1920 samples at 48 kHz for 25. */
export type FrameRateSign = { readonly rate: FrameRateName; readonly evidence: readonly string[] }

/** The programme does not run at the speed at which its tones were made. */
export type SpeedSuspicion = {
  /** Speed of the file over the speed of the original, e.g. 25/24 or 1000/1001. */
  readonly ratio: number
  /** The ratio as it is spoken of, e.g. `25/24`. */
  readonly name: string
  readonly confidence: number
  readonly evidence: readonly string[]
}

/** What lies on a file: tones, silence, leader, action, and the map that follows from them. */
export type Structure = {
  /** Silence from the first frame on; null where the file begins with sound. */
  readonly headSilence: FrameRange | null
  readonly tailSilence: FrameRange | null
  /** In order of time. */
  readonly tones: readonly FoundTone[]
  /** The pop two seconds before the first frame of action, and the one two seconds behind the last. */
  readonly twoPop: FoundTone | null
  readonly tailPop: FoundTone | null
  /** First frame of action, and the frame behind the last; null where nothing sounds. */
  readonly action: FrameRange | null
  /** Covers the file without gap or overlap. */
  readonly segments: readonly ProposedSegment[]
  /** Picture rates that the lengths found speak for, most likely first; empty where nothing tells. */
  readonly frameRates: readonly FrameRateSign[]
  readonly speed: SpeedSuspicion | null
}
