import type { Clause, DeliverySpec } from '../domain/index.ts'
import { PRESET_CAUTION } from './cautions.ts'

const r128 = (clause: string): Clause => ({ document: 'EBU R 128', edition: 'v5.0, 2023', clause, basis: 'summary' })
const s1 = (clause: string, basis: Clause['basis'] = 'summary'): Clause => ({
  document: 'EBU R 128 s1',
  edition: '2016',
  clause,
  basis,
})

/** Programmes for European broadcast, delivered as files. */
export const EBU_R128: DeliverySpec = {
  id: 'ebu-r128',
  title: 'EBU R 128',
  purpose: 'Programmes for broadcast in Europe and wherever R 128 is asked for, delivered as files.',
  edition: 'v5.0, 2023',
  anchor: 'programme',
  programmeLoudness: {
    targetLkfs: -23,
    toleranceBelowLu: 0.2,
    toleranceAboveLu: 0.2,
    source: r128('programme loudness, tolerance of a file-based measurement'),
  },
  maxTruePeakDbtp: { value: -1, severity: 'fail', source: r128('maximum permitted true peak in production') },
  notes: [
    PRESET_CAUTION,
    'Where exact normalisation is not practicable (live), the document allows 1.0 LU either way.',
    'The document grants the true-peak measurement a tolerance of 0.3 dB; it is not used here.',
  ],
}

/** Advertisements, promos and trailers under R 128. */
export const EBU_R128_S1: DeliverySpec = {
  id: 'ebu-r128-s1',
  title: 'EBU R 128 s1 short-form',
  purpose: 'Advertisements, promos and trailers for broadcast under R 128.',
  edition: '2016',
  anchor: 'programme',
  programmeLoudness: {
    targetLkfs: -23,
    toleranceBelowLu: 0.2,
    toleranceAboveLu: 0.2,
    source: s1('programme loudness; tolerance as in R 128 v5.0'),
  },
  maxTruePeakDbtp: { value: -1, severity: 'fail', source: s1('maximum permitted true peak') },
  maxShortTermLkfs: { value: -18, severity: 'fail', source: s1('maximum short-term loudness, 5.0 LU above target') },
  notes: [PRESET_CAUTION, 'Loudness range is not used: a short piece has too few windows.'],
}
