import type { Clause, DeliverySpec } from '../domain/index.ts'
import { PRESET_CAUTION } from './cautions.ts'

const EDITION = 'issue not verified'

const clause = (text: string, basis: Clause['basis']): Clause => ({
  document: 'Free TV Australia OP-59',
  edition: EDITION,
  clause: text,
  basis,
})

/** Long-form and short-form alike for commercial free-to-air television in Australia. */
export const FREETV_OP59: DeliverySpec = {
  id: 'freetv-op59',
  title: 'Free TV Australia OP-59',
  purpose: 'Programmes and commercials for free-to-air television in Australia.',
  edition: EDITION,
  anchor: 'programme',
  programmeLoudness: {
    targetLkfs: -24,
    toleranceBelowLu: 1,
    toleranceAboveLu: 1,
    source: clause('target of the average loudness: summary; tolerance: memory', 'memory'),
  },
  maxTruePeakDbtp: { value: -2, severity: 'fail', source: clause('maximum true peak', 'memory') },
  notes: [PRESET_CAUTION],
}
