import type { TwoTrackReport } from '../../../domain/index.ts'
import type { Detector } from '../detector.ts'
import { concludeTwoTrack } from './conclude.ts'
import type { TwoTrackEvidence } from './evidence.ts'
import { observeTwoTrack } from './observe.ts'

export type { TwoTrackEvidence } from './evidence.ts'

/** What the two tracks of a programme are to each other: for layout 2.0. */
export const twoTrackDetector: Detector<TwoTrackEvidence, TwoTrackReport> = {
  observe: observeTwoTrack,
  conclude: concludeTwoTrack,
}
