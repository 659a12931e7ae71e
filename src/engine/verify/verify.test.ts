import { describe, expect, test } from 'vitest'
import {
  type DeliverySpec,
  type FoldDownLock,
  type Measurements,
  margins,
  thinnestMargins,
} from '../../domain/index.ts'
import { findSpec } from '../../specs/index.ts'
import { type JudgeContext, judge, judgeDelivery, judgeSignal } from './index.ts'

/** ATSC A/85:2013: -24 LKFS within 2 dB, and -2 dBTP (the peak limit from memory). */
const A85 = findSpec('atsc-a85-short') as DeliverySpec
/** EBU R 128 s1 (2016): short-term at most -18.0 LUFS. */
const S1 = findSpec('ebu-r128-s1') as DeliverySpec

const onTarget: Measurements = {
  layout: '5.1',
  sampleRateHz: 48000,
  frameCount: 4_800_000,
  durationSeconds: 100,
  programmeLoudnessLkfs: -24,
  loudnessRangeLu: 11.8,
  maxMomentaryLkfs: -13.9,
  maxShortTermLkfs: -17.2,
  maxTruePeakDbtp: -4.1,
  samplePeakDbfs: -4.2,
  dialogueLoudnessLkfs: null,
  dialogueShare: null,
  dialogue: null,
  lfe: null,
  bandLevels: null,
  channels: [{ role: 'L', maxTruePeakDbtp: -4.2, samplePeakDbfs: -4.3 }],
  foldDown: {
    loRo: {
      programmeLoudnessLkfs: -23.4,
      loudnessRangeLu: 11,
      maxMomentaryLkfs: -13,
      maxShortTermLkfs: -17,
      maxTruePeakDbtp: -3.8,
      samplePeakDbfs: -3.9,
      dialogueLoudnessLkfs: null,
    },
    ltRt: null,
    mono: null,
  },
}
const stereo: Measurements = {
  ...onTarget,
  layout: '2.0',
  programmeLoudnessLkfs: -23.4,
  foldDown: { loRo: null, ltRt: null, mono: null },
}
const mix: JudgeContext = { role: 'mix-5.1', nonFiniteSampleCount: 0 }
const foldedStereo: JudgeContext = { role: 'lo-ro', nonFiniteSampleCount: 0 }
const closed: FoldDownLock = {
  law: 'lo-ro',
  state: 'closed',
  differingSamples: 0,
  coefficient: 'sqrt(1/2)',
  masterNullDbfs: -149.3,
  openedBy: [],
  stereoGainDb: 0,
}

const severities = (found: readonly { id: string; severity: string }[]) =>
  Object.fromEntries(found.map((finding) => [finding.id, finding.severity]))

describe('a line just inside, at and just outside its limit', () => {
  test.each([
    // A/85:2013: -24 within 2 dB. The printed value counts too, with a warning (docs/decisions/0003-judging.md).
    ['programmeLoudnessLkfs', -22.01, {}],
    ['programmeLoudnessLkfs', -22, {}],
    ['programmeLoudnessLkfs', -21.96, { 'inside-by-rounding': 'warn' }],
    ['programmeLoudnessLkfs', -21.94, { 'programme-loudness': 'fail' }],
    ['programmeLoudnessLkfs', -26, {}],
    ['programmeLoudnessLkfs', -26.06, { 'programme-loudness': 'fail' }],
    ['programmeLoudnessLkfs', null, { 'not-measurable': 'fail' }],
    ['maxTruePeakDbtp', -2.01, {}],
    ['maxTruePeakDbtp', -2, {}],
    ['maxTruePeakDbtp', -1.96, { 'inside-by-rounding': 'warn' }],
    ['maxTruePeakDbtp', -1.94, { 'true-peak': 'fail' }],
    ['maxTruePeakDbtp', 1.3, { 'true-peak': 'fail' }],
  ])('A/85 short-form, %s %s', (field, value, expected) => {
    expect(severities(judge({ ...onTarget, [field]: value }, A85, mix))).toEqual(expected)
  })

  test.each([
    [-18.01, {}],
    [-18, {}],
    [-17.96, { 'inside-by-rounding': 'warn' }],
    [-17.94, { 'short-term': 'fail' }],
    [null, { 'short-term-not-measurable': 'fail' }],
  ])('R 128 s1, short-term %s', (maxShortTermLkfs, expected) => {
    const file = { ...stereo, programmeLoudnessLkfs: -23, maxShortTermLkfs }
    expect(severities(judge(file, S1, { ...mix, role: 'mix' }))).toEqual(expected)
  })

  test('momentary and range obey their own severity', () => {
    const source = { document: 'house spec', edition: '1', clause: '3', basis: 'user' } as const
    const house: DeliverySpec = {
      ...A85,
      maxMomentaryLkfs: { value: -14, severity: 'fail', source },
      maxLoudnessRangeLu: { value: 10, severity: 'warn', source },
    }
    expect(severities(judge(onTarget, house, mix))).toEqual({ momentary: 'fail', 'loudness-range': 'warn' })
  })
})

test('a limit with two decimals is met at its own value', () => {
  const source = { document: 'house spec', edition: '1', clause: '3', basis: 'user' } as const
  const house: DeliverySpec = { ...A85, maxTruePeakDbtp: { value: -1.25, severity: 'fail', source } }
  expect(judge({ ...onTarget, maxTruePeakDbtp: -1.25 }, house, mix)).toEqual([])
})

test('a missed line says what was found, what is allowed, where it is from and what to do', () => {
  const [finding] = judge({ ...onTarget, maxTruePeakDbtp: -1.2 }, A85, {
    ...mix,
    truePeakSeconds: 61.5,
    timecodeAt: () => '10:01:01:12',
  })
  expect(finding).toEqual({
    id: 'true-peak',
    severity: 'fail',
    line: 'maxTruePeakDbtp',
    measured: -1.2,
    allowed: -2,
    unit: 'dBTP',
    at: { startSeconds: 61.5, endSeconds: 61.5, timecode: '10:01:01:12' },
    source: 'ATSC A/85:2013',
    message:
      '5.1: true peak at 10:01:01:12 is \u22121.2 dBTP, 0.8 dB above the allowed \u22122.0; lower the ceiling, or trim the place.',
  })
})

test('short-term excess is found where it is: two places, joined over less than a second', () => {
  const lkfs = new Float64Array(600).fill(-20)
  lkfs.fill(-16, 100, 110)
  lkfs.fill(-15.5, 115, 120)
  lkfs.fill(-17, 400, 405)
  const curve = { windowSeconds: 3, hopSeconds: 0.1, lkfs }
  const curves = { shortTerm: curve, momentary: { ...curve, windowSeconds: 0.4 } }
  const found = judge({ ...stereo, programmeLoudnessLkfs: -23, maxShortTermLkfs: -15.5 }, S1, {
    role: 'mix',
    nonFiniteSampleCount: 0,
    curves,
  })
  // Middle of a 3 s window that starts at hop 100 (10 s) is 11.5 s.
  expect(
    found.map(({ id, measured, at }) => [id, measured, at?.startSeconds.toFixed(2), at?.endSeconds.toFixed(2)]),
  ).toEqual([
    ['short-term', -15.5, '11.50', '13.50'],
    ['short-term', -17, '41.50', '42.00'],
  ])
})

test('hundreds of places are counted, and the worst twelve are named', () => {
  const lkfs = Float64Array.from({ length: 30 * 100 }, (_, i) => (i % 100 === 0 ? -17 + i / 3000 : -30))
  const curve = { windowSeconds: 3, hopSeconds: 0.1, lkfs }
  const found = judge({ ...stereo, programmeLoudnessLkfs: -23, maxShortTermLkfs: -16.03 }, S1, {
    role: 'mix',
    nonFiniteSampleCount: 0,
    curves: { shortTerm: curve, momentary: curve },
  })
  expect(found).toHaveLength(12)
  expect(found.at(-1)?.message).toContain('18 more places are above it.')
})

test('the dialogue anchor falls back to the total with a note, and is judged itself once it is known', () => {
  const longForm = findSpec('atsc-a85') as DeliverySpec
  expect(severities(judge(onTarget, longForm, mix))).toEqual({ 'anchor-not-measured': 'note' })
  const loRo = onTarget.foldDown.loRo as NonNullable<typeof onTarget.foldDown.loRo>
  const loudMusic = {
    ...onTarget,
    programmeLoudnessLkfs: -20,
    dialogueLoudnessLkfs: -24.5,
    dialogueShare: 0.15,
    foldDown: { ...onTarget.foldDown, loRo: { ...loRo, programmeLoudnessLkfs: -19, dialogueLoudnessLkfs: -24 } },
  }
  expect(judge(loudMusic, longForm, mix)).toEqual([])
  // Below 15 % of dialogue the total is what is judged (common practice).
  expect(severities(judge({ ...loudMusic, dialogueShare: 0.149 }, longForm, mix))).toEqual({
    'little-dialogue': 'note',
    'programme-loudness': 'fail',
    'fold-down-loudness': 'warn',
  })
  expect(severities(judge({ ...loudMusic, dialogueLoudnessLkfs: -27 }, longForm, mix))).toEqual({
    'dialogue-loudness': 'fail',
  })
})

test('a sample rate that the spec does not take fails', () => {
  const house: DeliverySpec = { ...A85, sampleRatesHz: [48000] }
  expect(judge(onTarget, house, mix)).toEqual([])
  expect(severities(judge({ ...onTarget, sampleRateHz: 44100 }, house, mix))).toEqual({ 'sample-rate': 'fail' })
})

test('samples that are no numbers fail without any spec', () => {
  const [finding] = judgeSignal(onTarget, { ...mix, nonFiniteSampleCount: 3 })
  expect(finding).toMatchObject({ id: 'non-finite-samples', severity: 'fail', measured: 3, allowed: 0 })
})

test('silence and a file shorter than one gating block (ITU-R BS.1770-5: 400 ms) are told apart', () => {
  const unmeasured = { ...onTarget, programmeLoudnessLkfs: null }
  expect(judgeSignal(unmeasured, mix)[0]?.message).toContain('nothing in it is louder than the gate')
  expect(judgeSignal({ ...unmeasured, durationSeconds: 0.3 }, mix)[0]?.message).toContain('lasts 0.30 s')
})

test('the fold-down of a 5.1 that is judged alone only warns', () => {
  const loRo = { ...onTarget.foldDown.loRo, programmeLoudnessLkfs: -21, maxTruePeakDbtp: -0.5 }
  const file = { ...onTarget, foldDown: { ...onTarget.foldDown, loRo } } as Measurements
  expect(severities(judge(file, A85, mix))).toEqual({ 'fold-down-loudness': 'warn', 'fold-down-true-peak': 'warn' })
  const peak = judge(file, A85, { ...mix, truePeakSeconds: 3, foldDownTruePeakSeconds: 7.5 }).find(
    ({ unit }) => unit === 'dBTP',
  )
  expect(peak?.at).toEqual({ startSeconds: 7.5, endSeconds: 7.5, timecode: null })
})

describe('a delivery', () => {
  const files = [
    { ...mix, measurements: onTarget },
    { ...foldedStereo, measurements: stereo },
  ]

  test('conforms, and reports how far the stereo stands from the target', () => {
    const { conforms, findings } = judgeDelivery({
      spec: A85,
      deliverables: files,
      foldDownLock: closed,
      anchor: '5.1',
    })
    expect(conforms).toBe(true)
    expect(findings).toHaveLength(1)
    expect(findings[0]).toMatchObject({
      id: 'stereo-offset',
      severity: 'note',
      measured: -23.4,
      allowed: [-26, -22],
      at: null,
      source: 'ATSC A/85:2013',
    })
  })

  test('fails when the stereo is outside the tolerance', () => {
    const loud = { ...foldedStereo, measurements: { ...stereo, programmeLoudnessLkfs: -21.5 } }
    const judged = judgeDelivery({ spec: A85, deliverables: [files[0]!, loud], foldDownLock: closed, anchor: '5.1' })
    expect(judged.conforms).toBe(false)
    expect(severities(judged.findings)).toEqual({ 'stereo-offset': 'fail' })
  })

  test.each([
    [[], 'fail', false],
    [['frontSpread'], 'warn', true],
  ] as const)('with an open lock given up by [%s] %ss', (openedBy, severity, conforms) => {
    const foldDownLock: FoldDownLock = { ...closed, state: 'open', differingSamples: 12, openedBy }
    const judged = judgeDelivery({ spec: A85, deliverables: files, foldDownLock, anchor: '5.1' })
    expect(judged.conforms).toBe(conforms)
    expect(severities(judged.findings)['fold-down-lock']).toBe(severity)
  })

  test.each([
    [-24.1, undefined],
    [-24.11, 'warn'],
    [-23.85, 'warn'],
  ])('that lands at %s LKFS keeps or misses the promise of 0.1 LU', (programmeLoudnessLkfs, severity) => {
    const landed = { ...mix, measurements: { ...onTarget, programmeLoudnessLkfs } }
    const judged = judgeDelivery({ spec: A85, deliverables: [landed, files[1]!], foldDownLock: closed, anchor: '5.1' })
    expect(judged.conforms).toBe(true)
    expect(severities(judged.findings)['beside-target']).toBe(severity)
  })
})

describe('margins', () => {
  test('are positive inside and negative outside, to the nearer bound', () => {
    const file = { ...onTarget, programmeLoudnessLkfs: -25.5, maxTruePeakDbtp: -1.5 }
    const found = margins(file, A85, 'mix-5.1').map(({ line, limit, margin }) => [line, limit, margin])
    expect(found.slice(0, 2)).toEqual([
      ['programmeLoudnessLkfs', -26, 0.5],
      ['maxTruePeakDbtp', -2, -0.5],
    ])
  })

  test('the thinnest come first, what was not measured before all', () => {
    const silent = { ...onTarget, programmeLoudnessLkfs: null, maxTruePeakDbtp: -2.5 }
    const thinnest = thinnestMargins(margins(silent, A85, 'mix-5.1'), 2)
    expect(thinnest.map(({ line, margin }) => [line, margin])).toEqual([
      ['programmeLoudnessLkfs', null],
      ['maxTruePeakDbtp', 0.5],
    ])
  })
})
