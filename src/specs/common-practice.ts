import type { Clause, DeliverySpec } from '../domain/index.ts'
import { PRESET_CAUTION } from './cautions.ts'

const EDITION = '2026'

const clause = (text: string): Clause => ({
  document: 'common practice',
  edition: EDITION,
  clause: text,
  basis: 'common practice',
})

/** A plain target for everything from beginning to end. */
export const FULL_PROGRAMME_24: DeliverySpec = {
  id: 'full-programme-24',
  title: 'Full programme at −24 LKFS',
  purpose: 'A mix that must stand at −24 LKFS from beginning to end, where no document is named.',
  edition: EDITION,
  anchor: 'programme',
  programmeLoudness: {
    targetLkfs: -24,
    toleranceBelowLu: 2,
    toleranceAboveLu: 2,
    source: clause('target and tolerance as ATSC A/85:2013 asks of short-form content'),
  },
  maxTruePeakDbtp: { value: -2, severity: 'fail', source: clause('true peak of delivered content') },
  notes: [PRESET_CAUTION],
}

/** The figures of streaming delivery, whatever the loudness is judged on. */
const streaming = (judged: string) =>
  ({
    edition: EDITION,
    programmeLoudness: { targetLkfs: -27, toleranceBelowLu: 2, toleranceAboveLu: 2, source: clause(judged) },
    maxTruePeakDbtp: {
      value: -2,
      severity: 'fail',
      source: clause('true peak of the 5.1 and of its stereo fold-down'),
    },
    maxLoudnessRangeLu: { value: 20, severity: 'warn', source: clause('loudness range of a 5.1, a wish') },
  }) satisfies Partial<DeliverySpec>

/** Generic streaming delivery, judged on dialogue. */
export const STREAMING_DIALOGUE: DeliverySpec = {
  id: 'streaming-dialogue',
  title: 'Streaming, dialogue',
  purpose: 'Delivery to a streaming service of a programme that lives by its dialogue, judged on the dialogue alone.',
  ...streaming('streaming delivery, dialogue-gated loudness of the 5.1 and of its stereo fold-down'),
  anchor: 'dialogue',
  notes: [
    PRESET_CAUTION,
    'With less than 15 % of dialogue the whole programme is judged; services may find dialogue in another way.',
  ],
}

/** Generic streaming delivery, judged on the whole programme. */
export const STREAMING_FULL_PROGRAMME: DeliverySpec = {
  id: 'streaming-full-programme',
  title: 'Streaming, full programme',
  purpose: 'Delivery to a streaming service of a programme without dialogue, judged from beginning to end.',
  ...streaming('streaming delivery, the figures of the dialogue-gated practice on the whole programme'),
  anchor: 'programme',
  notes: [
    PRESET_CAUTION,
    'Services usually measure speech alone where there is speech; ask for the written spec of the service.',
  ],
}
