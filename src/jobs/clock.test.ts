import { describe, expect, test } from 'vitest'
import { refusalOf } from '../../test/testkit/wav.ts'
import { type Finding, labelAt } from '../domain/index.ts'
import { clockOf, inTimecode, type TimecodeOptions } from './clock.ts'

type Told = Parameters<typeof clockOf>[1]

const BEXT = {
  description: '',
  originator: '',
  originatorReference: '',
  originationDate: '',
  originationTime: '',
  // 01:00:00 at 48 kHz. EBU Tech 3285: samples since midnight.
  timeReferenceSamples: 172_800_000,
  umid: null,
  loudness: null,
  codingHistory: '',
}
const IXML = {
  timecode: { rate: '25', dropFrame: false },
  sampleRateHz: 48000,
  timestampSamples: 172_800_000,
  timestampRateHz: 48000,
} as const

const PLAIN: Told = {
  format: { encoding: 'int24', channelCount: 2, sampleRateHz: 48000 },
  bext: null,
  ixml: null,
}

const start = (told: Partial<Told>, options: TimecodeOptions = {}) => {
  const { clock, findings } = clockOf('reel.wav', { ...PLAIN, ...told }, options)
  return { start: clock === null ? null : labelAt(clock, 0), findings }
}
const refused = (told: Partial<Told>, options: TimecodeOptions) =>
  refusalOf(() => clockOf('reel.wav', { ...PLAIN, ...told }, options))

describe('the start of a programme', () => {
  test.each([
    ['nothing is known', {}, {}, null],
    ['a time reference, but no rate', { bext: BEXT }, {}, null],
    ['bext and iXML', { bext: BEXT, ixml: IXML }, {}, '01:00:00:00'],
    ['iXML alone', { ixml: IXML }, {}, '01:00:00:00'],
    ['a rate without any time stamp', { ixml: { ...IXML, timestampSamples: null } }, {}, null],
    ['bext and the user', { bext: BEXT }, { timecodeRate: '25' }, '01:00:00:00'],
    ['a rate alone', {}, { timecodeRate: '25' }, '00:00:00:00'],
    ['the user alone', {}, { timecodeRate: '24', timecodeStart: '10:00:00:12' }, '10:00:00:12'],
    [
      'a bext that was never set',
      { bext: { ...BEXT, timeReferenceSamples: 0 } },
      { timecodeRate: '25' },
      '00:00:00:00',
    ],
    // One hour of non-drop labels lasts 3603.6 s, so the label lags behind the clock on the wall (SMPTE ST 12-1).
    ['29.97 non-drop', { bext: BEXT }, { timecodeRate: '29.97' }, '00:59:56:12'],
    ['29.97 drop-frame', { bext: BEXT }, { timecodeRate: '29.97', dropFrame: true }, '01:00:00;00'],
  ] as const)('%s', (_, told, options, label) => {
    expect(start(told, options)).toEqual({ start: label, findings: [] })
  })

  test('a time stamp at another rate counts in its own samples', () => {
    // 3600 s of samples at 48048 Hz.
    const ixml = { ...IXML, timestampSamples: 172_972_800, timestampRateHz: 48048 }
    expect(start({ ixml }).start).toBe('01:00:00:00')
  })
})

describe('what disagrees is told', () => {
  test.each([
    ['rate', { bext: BEXT, ixml: IXML }, { timecodeRate: '24' }, '01:00:00:00', 'timecode-rate-disagrees', 'warn'],
    [
      'drop-frame',
      { bext: BEXT, ixml: { ...IXML, timecode: { rate: '29.97', dropFrame: true } } },
      { dropFrame: false },
      '00:59:56:12',
      'timecode-rate-disagrees',
      'warn',
    ],
    [
      'bext and iXML',
      { bext: BEXT, ixml: { ...IXML, timestampSamples: 0 } },
      {},
      '01:00:00:00',
      'timecode-start-disagrees',
      'warn',
    ],
    [
      'an unset bext and iXML',
      { bext: { ...BEXT, timeReferenceSamples: 0 }, ixml: IXML },
      {},
      '01:00:00:00',
      'timecode-start-disagrees',
      'warn',
    ],
    [
      'start',
      { bext: BEXT },
      { timecodeRate: '25', timecodeStart: '10:00:00:00' },
      '10:00:00:00',
      'timecode-start-disagrees',
      'note',
    ],
    [
      'the recorded rate',
      { ixml: { ...IXML, sampleRateHz: 48048 } },
      {},
      '01:00:00:00',
      'sample-rate-disagrees',
      'warn',
    ],
  ] as const)('%s', (_, told, options, label, id, severity) => {
    expect(start(told as Partial<Told>, options)).toMatchObject({ start: label, findings: [{ id, severity }] })
  })

  test('who repeats the rate of the file has nothing against its drop-frame', () => {
    const ixml = { ...IXML, timecode: { rate: '29.97', dropFrame: true } } as const
    expect(start({ bext: BEXT, ixml }, { timecodeRate: '30000/1001' })).toEqual({ start: '01:00:00;00', findings: [] })
  })
})

test.each([
  ['a start without a rate', { timecodeStart: '10:00:00:00' }, 'JOBS_TIMECODE_RATE', '--timecode-rate 25'],
  ['drop-frame without a rate', { dropFrame: true }, 'JOBS_TIMECODE_RATE', '29.97 or 59.94'],
  ['drop-frame at 25', { timecodeRate: '25', dropFrame: true }, 'JOBS_TIMECODE_RATE', '25 without drop-frame'],
  ['a rate of 26', { timecodeRate: '26' }, 'JOBS_TIMECODE_RATE', 'The nearest is 25.'],
  [
    'a skipped label',
    { timecodeRate: '29.97', dropFrame: true, timecodeStart: '00:01:00;00' },
    'JOBS_TIMECODE_LABEL',
    '00:01:00;02',
  ],
  ['a label that is none', { timecodeRate: '25', timecodeStart: 'ten' }, 'JOBS_TIMECODE_LABEL', '10:00:00:00'],
] as const)('%s is refused', (_, options, code, remedy) => {
  const refusal = refused({}, options)
  expect(refusal.code).toBe(code)
  expect(refusal.remedy).toContain(remedy)
})

test('places get their timecode, but not twice', () => {
  const { clock } = clockOf('reel.wav', { ...PLAIN, bext: BEXT }, { timecodeRate: '25' })
  const at = { startSeconds: 61.5, endSeconds: 70, timecode: null }
  const findings = [{ at }, { at: null }, { at: { ...at, timecode: 'kept' } }] as unknown as readonly Finding[]
  expect(inTimecode(findings, clock).map((finding) => finding.at?.timecode)).toEqual(['01:01:01:12', undefined, 'kept'])
  expect(inTimecode(findings, null)).toBe(findings)
})
