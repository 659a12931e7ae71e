import type { LayoutName, PcmFormat, SpeechLane } from '../../domain/index.ts'
import type { Kernels } from '../../dsp/index.ts'

/** Seconds of programme that a stretch holds before and after its own frames, where there are any. */
export const STRETCH_MARGIN_SECONDS = 1

/** One segment of a programme, decoded for looking at: its own frames with a margin at each side. */
export type Stretch = {
  readonly layout: LayoutName
  readonly sampleRateHz: number
  /** Frames of the whole programme. */
  readonly programmeFrameCount: number
  /** Frame of the programme where the segment begins: sample `leadFrames` of each plane. */
  readonly firstFrame: number
  /** Frames of the segment itself. */
  readonly frameCount: number
  /** Frames before the segment that the planes hold: the margin, less at the programme's beginning. */
  readonly leadFrames: number
  /** Frames behind the segment that the planes hold. */
  readonly tailFrames: number
  /** One plane per channel, in channel order, `leadFrames + frameCount + tailFrames` long; full scale = 1. */
  readonly planes: readonly Float32Array[]
  /** The words of the segment's own frames as they lie in the file, interleaved. */
  readonly words: { readonly format: PcmFormat; readonly bytes: Uint8Array }
}

/** The programme that the evidence of all segments is judged for. */
export type Inspected = {
  readonly layout: LayoutName
  readonly sampleRateHz: number
  readonly frameCount: number
  readonly speech: SpeechLane | null
}

/**
 * One way of looking at a programme. `observe` sees one segment at a time, in any order, in any worker, and leaves
 * numbers behind (they travel between threads: plain objects and typed arrays only); `conclude` is pure and sees the
 * evidence of all segments in order. The conclusion does not depend on the number of workers.
 */
export type Detector<Evidence, Conclusion> = {
  observe(kernels: Kernels, stretch: Stretch): Evidence
  conclude(evidence: readonly Evidence[], programme: Inspected): Conclusion
}
