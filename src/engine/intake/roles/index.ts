import type { Roles } from '../../../domain/index.ts'
import type { Detector } from '../detector.ts'
import { concludeRoles } from './conclude.ts'
import type { RolesEvidence } from './evidence.ts'
import { observeRoles } from './observe.ts'

/**
 * Whether each channel of a multichannel programme is what the file says: order, LFE band, dialogue in C, swapped,
 * copied, silent or inverted channels, and signs that the mix was made from two tracks. Layouts 5.0, 5.1 and 7.1.
 */
export const rolesDetector: Detector<RolesEvidence, Roles> = {
  observe: observeRoles,
  conclude: concludeRoles,
}
