import type { Clause, DeliverySpec } from '../domain/index.ts'
import { PRESET_CAUTION } from './cautions.ts'

const clause = (text: string): Clause => ({
  document: 'ARIB TR-B32',
  edition: 'v1.6, 2025',
  clause: text,
  basis: 'memory',
})

/** Fully packaged programmes and commercials for Japan. */
export const ARIB_TR_B32: DeliverySpec = {
  id: 'arib-tr-b32',
  title: 'ARIB TR-B32',
  purpose: 'Fully packaged programmes and commercials for digital television in Japan.',
  edition: 'v1.6, 2025',
  anchor: 'programme',
  programmeLoudness: {
    targetLkfs: -24,
    toleranceBelowLu: 1,
    toleranceAboveLu: 1,
    source: clause('target average loudness of the whole programme'),
  },
  maxTruePeakDbtp: { value: -1, severity: 'fail', source: clause('maximum true peak') },
  notes: [PRESET_CAUTION],
}
