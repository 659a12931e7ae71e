import type { FrameRange } from './frame-range.ts'
import type { Role } from './layout.ts'
import type { Clause } from './spec.ts'

/** A stretch that the mixer should go back to: where a line is missed, or where it is met with the least room. */
export type Passage = FrameRange & {
  /** 1 for the passage with the largest effect. */
  readonly rank: number
  /**
   * `level-step`: everything in it stands at another gain than what is around it. `line-up-tone`: a tone left in.
   */
  readonly kind: 'too-loud' | 'too-soft' | 'level-step' | 'line-up-tone' | 'thinnest-margin'
  /**
   * The field of the measurements whose line is missed or nearest; else `dialogueLevel` for a line of dialogue,
   * `levelStep` or `lineUpTone`.
   */
  readonly line: string
  /** Where it is worst. */
  readonly peakFrame: number
  readonly measured: number
  readonly allowed: number | readonly [number, number]
  readonly unit: string
  /** How far past the limit, positive; negative where there is still room. */
  readonly excess: number
  readonly source: Clause
  /** Share of the passage's energy that each channel carries, largest first; shares sum to 1. */
  readonly carriedBy: readonly { readonly role: Role; readonly share: number }[]
  /** Share of its hops that are dialogue, 0..1; null where the detector did not listen. */
  readonly dialogueShare: number | null
  /** The least constant trim on the passage that restores its line; null where a trim is not the cure. */
  readonly suggestedTrimDb: number | null
  /** What that trim does to the total, gates computed anew. */
  readonly effect: {
    readonly programmeLoudnessBeforeLkfs: number
    readonly programmeLoudnessAfterLkfs: number
    readonly changeLu: number
  } | null
  /** Change of the total per dB of a small trim here, gates held. */
  readonly marginalLuPerDb: number | null
  /** One sentence to the mixer: what it is and what to do. */
  readonly message: string
}

/** From this frame on everything sounds at another gain: a fader that was cut, a reel spliced in at another level. */
export type LevelStep = {
  readonly frame: number
  readonly stepDb: number
  /** How much better the sound is explained with the step than without; chance stays below 100. */
  readonly sureness: number
}
