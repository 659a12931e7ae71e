import type { AudioSource, Cancellation, LevelStep, Segment } from '../../domain/index.ts'
import type { Kernels } from '../../dsp/index.ts'
import type { Inspected } from './detector.ts'
import { levelSteps } from './level-steps.ts'
import { readStretch } from './stretch.ts'

/** Looks for level steps in one segment. Takes memory from `kernels.arena`; the caller gives it back. */
export function levelStepsWithin(
  kernels: Kernels,
  source: AudioSource,
  segment: Segment,
  cancellation?: Cancellation,
): readonly LevelStep[] {
  return levelSteps.observe(kernels, readStretch(kernels, source, segment, cancellation))
}

/** The level steps of a programme from those of all its segments in order. */
export function joinLevelSteps(
  segments: readonly (readonly LevelStep[])[],
  programme: Inspected,
): readonly LevelStep[] {
  return levelSteps.conclude(segments, programme)
}
