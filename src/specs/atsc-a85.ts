import type { Clause, DeliverySpec } from '../domain/index.ts'
import { PRESET_CAUTION } from './cautions.ts'

const clause = (text: string, basis: Clause['basis']): Clause => ({
  document: 'ATSC A/85',
  edition: '2013',
  clause: text,
  basis,
})

const shared = {
  edition: '2013',
  maxTruePeakDbtp: { value: -2, severity: 'fail', source: clause('true peak of delivered content', 'memory') },
} as const

/** Long-form television: the anchor element is held at the target. */
export const ATSC_A85: DeliverySpec = {
  ...shared,
  id: 'atsc-a85',
  title: 'ATSC A/85 long-form',
  purpose: 'Television programmes in North America, judged on the anchor element (usually dialogue).',
  anchor: 'dialogue',
  programmeLoudness: {
    targetLkfs: -24,
    toleranceBelowLu: 2,
    toleranceAboveLu: 2,
    source: clause('long-form content: anchor element, where no other target is agreed', 'summary'),
  },
  notes: [
    PRESET_CAUTION,
    'The document also allows the loudness of the whole content where no anchor element can be isolated.',
  ],
}

/** Short-form television: everything from beginning to end is measured. */
export const ATSC_A85_SHORT: DeliverySpec = {
  ...shared,
  id: 'atsc-a85-short',
  title: 'ATSC A/85 short-form',
  purpose:
    'Commercials, promos and other short-form content in North America, and programmes judged on all elements from ' +
    'beginning to end.',
  anchor: 'programme',
  programmeLoudness: {
    targetLkfs: -24,
    toleranceBelowLu: 2,
    toleranceAboveLu: 2,
    source: clause('short-form content: beginning to end, all channels except LFE', 'summary'),
  },
  notes: [PRESET_CAUTION],
}
