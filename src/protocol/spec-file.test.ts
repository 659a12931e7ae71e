import { readFileSync } from 'node:fs'
import { describe, expect, test } from 'vitest'
import { readSpecFile, specFileSchema } from './index.ts'

const example = JSON.parse(
  readFileSync(new URL('../../docs/examples/north-coast-spec.json', import.meta.url), 'utf8'),
) as Record<string, unknown>
const loudness = example.programmeLoudness as Record<string, unknown>

const band = { id: 'low-end', fromHz: 30, toHz: 120, maxDbfs: -26 }

const problemsOf = (change: Record<string, unknown>) => readSpecFile({ ...example, ...change }).problems

test('the example becomes a spec, with limits that name the user as their source', () => {
  const { spec, problems } = readSpecFile(example)
  expect(problems).toBeNull()
  expect(spec).toMatchObject({
    id: 'north-coast-2026',
    anchor: 'programme',
    programmeLoudness: { targetLkfs: -24, toleranceBelowLu: 1, toleranceAboveLu: 0.5 },
    maxTruePeakDbtp: { value: -3, severity: 'fail', source: { basis: 'user', clause: 'not stated' } },
    maxShortTermLkfs: { value: -15, severity: 'fail', source: { clause: '4.3', edition: '2026-03' } },
    maxLoudnessRangeLu: { value: 18, severity: 'warn' },
    sampleRatesHz: [48000],
  })
  expect(spec).toMatchObject({
    maxMomentaryLkfs: { value: -14, length: { atMostSeconds: 120 } },
    bandLevels: [
      {
        id: 'low-end',
        fromHz: 30,
        toHz: 120,
        over: 'short-term',
        beside: 'programme-loudness',
        value: 12,
        severity: 'fail',
      },
    ],
  })
  expect(spec).not.toHaveProperty('maxLfeTruePeakDbtp')
})

describe('a slip is named with its place, what was found and what is needed', () => {
  test.each([
    [{ maxTruePeak: -2 }, 'maxTruePeak', 'an unknown name', /maxTruePeakDbtp/, 'maxTruePeakDbtp'],
    [
      { programmeLoudness: { ...loudness, targetLufs: -24 } },
      'programmeLoudness.targetLufs',
      'an unknown name',
      /targetLkfs/,
      'targetLkfs',
    ],
    [
      { maxShortTermLkfs: { value: -15, severty: 'warn' } },
      'maxShortTermLkfs.severty',
      'an unknown name',
      /severity/,
      'severity',
    ],
    [
      { programmeLoudness: { ...loudness, targetLkfs: 24 } },
      'programmeLoudness.targetLkfs',
      '24',
      /at most 0; .* was -24 meant/,
      null,
    ],
    [
      { programmeLoudness: { ...loudness, toleranceBelowLu: -2 } },
      'programmeLoudness.toleranceBelowLu',
      '-2',
      /more than 0/,
      null,
    ],
    [
      { programmeLoudness: { ...loudness, toleranceAboveLu: 0 } },
      'programmeLoudness.toleranceAboveLu',
      '0',
      /more than 0/,
      null,
    ],
    [{ maxTruePeakDbtp: 20 }, 'maxTruePeakDbtp', '20', /at most 3; .* was -20 meant/, null],
    [{ maxTruePeakDbtp: -26 }, 'maxTruePeakDbtp', '-26', /more than the loudness target \(-24\)/, null],
    [{ maxShortTermLkfs: -24 }, 'maxShortTermLkfs', '-24', /more than the loudness target/, null],
    [{ maxMomentaryLkfs: -18 }, 'maxMomentaryLkfs', '-18', /at least maxShortTermLkfs \(-15\)/, null],
    [{ maxTruePeakDbtp: '-2' }, 'maxTruePeakDbtp', '"-2"', /a number/, null],
    [{ maxTruePeakDbtp: { severity: 'fail' } }, 'maxTruePeakDbtp.value', 'nothing', /a number; it is missing/, null],
    [{ anchor: 'dialog' }, 'anchor', '"dialog"', /one of programme, dialogue/, 'dialogue'],
    [{ id: 'North Coast' }, 'id', '"North Coast"', /lower-case/, null],
    [{ specVersion: 2 }, 'specVersion', '2', /one of 1/, null],
    [{ sampleRatesHz: [48] }, 'sampleRatesHz.0', '48', /48000/, null],
    [{ sampleRatesHz: [] }, 'sampleRatesHz', '[]', /at least one/, null],
    [{ title: '' }, 'title', '""', /not empty/, null],
    [
      { bandLevels: [{ ...band, toHz: 50 }] },
      'bandLevels.0.toHz',
      '50',
      /at least an octave above fromHz \(60 Hz\)/,
      null,
    ],
    [{ bandLevels: [{ ...band, fromHz: 5 }] }, 'bandLevels.0.fromHz', '5', /at least 30/, null],
    [{ bandLevels: [{ ...band, toHz: 30_000 }] }, 'bandLevels.0.toHz', '30000', /at most 16000/, null],
    [{ bandLevels: [{ ...band, maxDbfs: 26 }] }, 'bandLevels.0.maxDbfs', '26', /at most 0; .* was -26 meant/, null],
    [{ bandLevels: [{ ...band, maxDbfs: -200 }] }, 'bandLevels.0.maxDbfs', '-200', /at least -80/, null],
    [{ bandLevels: [{ ...band, maxDb: -26 }] }, 'bandLevels.0.maxDb', 'an unknown name', /maxDbfs/, 'maxDbfs'],
    [
      { bandLevels: [{ ...band, over: 'momentary' }] },
      'bandLevels.0.over',
      '"momentary"',
      /short-term, programme/,
      null,
    ],
    [{ bandLevels: [{ ...band, maxOverLoudnessDb: 3 }] }, 'bandLevels.0', 'two limits', /one of maxDbfs and/, null],
    [{ bandLevels: [{ id: 'all', maxDbfs: -3 }] }, 'bandLevels.0', 'no corner', /fromHz, toHz or both/, null],
    [{ bandLevels: [{ id: 'low', toHz: 120 }] }, 'bandLevels.0', 'no limit', /one of maxDbfs and/, null],
    [{ bandLevels: [band, band] }, 'bandLevels.1.id', 'low-end', /a name of its own/, null],
    [{ maxMomentaryLkfs: { value: -10, length: {} } }, 'maxMomentaryLkfs.length', 'no bound', /atMostSeconds/, null],
    [
      { maxMomentaryLkfs: { value: -10, length: { atMostSeconds: 30, moreThanSeconds: 60 } } },
      'maxMomentaryLkfs.length.atMostSeconds',
      '30',
      /more than moreThanSeconds \(60\)/,
      null,
    ],
    [
      { maxMomentaryLkfs: { value: -10, length: { atMostSecond: 30 } } },
      'maxMomentaryLkfs.length.atMostSecond',
      'an unknown name',
      /atMostSeconds/,
      'atMostSeconds',
    ],
  ])('%j', (change, path, found, needed, nearest) => {
    expect(problemsOf(change)).toEqual([{ path, found, needed: expect.stringMatching(needed), nearest }])
  })

  test('all slips of a file are told at once', () => {
    const { programmeLoudness: _, ...without } = example
    const { problems } = readSpecFile({ ...without, anchr: 'programme', maxTruePeakDbtp: 99 })
    expect(problems?.map(({ path }) => path).sort()).toEqual(['anchr', 'maxTruePeakDbtp', 'programmeLoudness'])
  })

  test.each([[null], ['text'], [[1]], [17]])('%j is no spec', (value) => {
    expect(readSpecFile(value).problems?.[0]).toMatchObject({ path: '', needed: 'an object' })
  })
})

test('the JSON Schema names every field and closes every object (JSON Schema 2020-12)', () => {
  const schema = specFileSchema() as { $schema: string; properties: object; additionalProperties: boolean }
  expect(schema.$schema).toBe('https://json-schema.org/draft/2020-12/schema')
  expect(schema.additionalProperties).toBe(false)
  expect(Object.keys(schema.properties)).toEqual(expect.arrayContaining(Object.keys(example)))
})
