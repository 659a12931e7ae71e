import type { DeliverySpec } from '../domain/index.ts'
import { ARIB_TR_B32 } from './arib-tr-b32.ts'
import { ATSC_A85, ATSC_A85_SHORT } from './atsc-a85.ts'
import { FULL_PROGRAMME_24, STREAMING_DIALOGUE, STREAMING_FULL_PROGRAMME } from './common-practice.ts'
import { EBU_R128, EBU_R128_S1 } from './ebu-r128.ts'
import { FREETV_OP59 } from './freetv-op59.ts'

/** The delivery specs that Plimsoll knows, in the order in which they are listed. */
export const SPECS: readonly DeliverySpec[] = [
  ATSC_A85,
  ATSC_A85_SHORT,
  FULL_PROGRAMME_24,
  EBU_R128,
  EBU_R128_S1,
  ARIB_TR_B32,
  FREETV_OP59,
  STREAMING_DIALOGUE,
  STREAMING_FULL_PROGRAMME,
]

/** The spec with this id, or null. */
export function findSpec(id: string): DeliverySpec | null {
  return SPECS.find((spec) => spec.id === id) ?? null
}
