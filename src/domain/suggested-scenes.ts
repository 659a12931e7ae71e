import type { FrameRange } from './frame-range.ts'

/** A stretch that sounds alike, and the settings that fit what is heard in it. */
export type SuggestedScene = FrameRange & {
  /** What is heard there, in a few words. */
  readonly name: string
  /** Id of the starting settings. */
  readonly start: string
  /** One sentence to the mixer: why these settings. */
  readonly reason: string
  /** Share of its time in which somebody speaks, 0..1. */
  readonly speechShare: number
  /** Mean level of both tracks together. */
  readonly levelDbfs: number
  /** Share of its energy that has no direction between left and right, 0..1. */
  readonly ambienceShare: number
}
