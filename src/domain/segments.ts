import type { FrameRange } from './frame-range.ts'

/** What a stretch of a master is; only `programme` is measured, fitted and judged. */
export const SEGMENT_KINDS = ['programme', 'break', 'slate', 'leader', 'tone', 'textless', 'tail'] as const

export type SegmentKind = (typeof SEGMENT_KINDS)[number]

/** One entry of the map of what lies on a file. */
export type ProgrammeSegment = FrameRange & {
  readonly kind: SegmentKind
  /** As the mixer calls it, e.g. `act 1`. */
  readonly name: string | null
}
