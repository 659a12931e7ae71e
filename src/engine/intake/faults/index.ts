import type { FaultReport } from '../../../domain/index.ts'
import type { Detector } from '../detector.ts'
import { concludeFaults } from './conclude.ts'
import type { FaultEvidence } from './evidence.ts'
import { observeFaults } from './observe.ts'

/**
 * Looks for what is wrong with the sound of a programme of any layout: clipping, overs, dropouts, repeats, clicks, DC,
 * lost and inverted channels, loss in mono, unused bits. Head and tail, tones, hum and bandwidth are looked at elsewhere.
 */
export const faultDetector: Detector<FaultEvidence, FaultReport> = {
  observe: (_kernels, stretch) => observeFaults(stretch),
  conclude: concludeFaults,
}
