import type { Structure } from '../../../domain/index.ts'
import type { Detector } from '../detector.ts'
import { concludeStructure } from './conclude.ts'
import type { StructureEvidence } from './evidence.ts'
import { observeStructure } from './observe.ts'

/**
 * What lies on a file: line-up tone, slate, leader and pops, acts and the breaks between them, and the map that
 * follows. Edges of tones, pops and digital silence are exact to a frame or two, others to 10 ms.
 */
export const structureDetector: Detector<StructureEvidence, Structure> = {
  observe: (_kernels, stretch) => observeStructure(stretch),
  conclude: concludeStructure,
}
