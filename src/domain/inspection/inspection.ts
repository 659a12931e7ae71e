import type { FaultReport } from './faults.ts'
import type { Structure } from './structure.ts'

/** What a file really is, and what is wrong with it. */
export type Inspection = {
  readonly structure: Structure
  readonly faults: FaultReport
}
