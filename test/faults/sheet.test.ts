// Sheets that cannot be obeyed, and files that are no reels of one programme: what is said, and that nothing is made.
import { writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { beforeAll, describe, expect, test } from 'vitest'
import { refusalDocument } from '../../src/protocol/index.ts'
import { fileFolder, PREPARATION_MS, plimsoll, snapshot } from '../testkit/cli.ts'
import { ffmpeg } from '../testkit/cli-programmes.ts'
import { sha256 } from '../testkit/outside.ts'

const folder = fileFolder()
const at = (name: string) => join(folder, name)
const NOISE = 'anoisesrc=sample_rate=48000:amplitude=0.1:seed=1:duration=6'

beforeAll(() => {
  const make = (name: string, ...how: readonly string[]) => ffmpeg('-f', 'lavfi', '-i', NOISE, ...how, at(name))
  make('two.wav', '-ac', '2', '-c:a', 'pcm_s24le')
  make('one.wav', '-ac', '1', '-c:a', 'pcm_s24le')
  make('slow.wav', '-ac', '2', '-ar', '44100', '-c:a', 'pcm_s24le')
  make('short-words.wav', '-ac', '2', '-c:a', 'pcm_s16le')
  make('other.wav', '-ac', '2', '-c:a', 'pcm_s24le', '-af', 'volume=-3dB')
}, PREPARATION_MS)

function write(name: string, change: object | string): string {
  const file = {
    sheetVersion: 1,
    title: { id: 'storm', name: 'Storm' },
    timecode: { rate: '29.97', dropFrame: true, start: '01:00:57;00' },
    sources: [{ path: 'two.wav' }],
    spec: { id: 'ebu-r128' },
  }
  writeFileSync(at(name), typeof change === 'string' ? change : JSON.stringify({ ...file, ...change }))
  return at(name)
}

/** Runs a command that must refuse, leaving the folder as it is. Gives the refusal. */
async function refused(...words: readonly string[]) {
  const before = snapshot(folder)
  const run = await plimsoll([...words, '--json'])
  expect(run.code, run.stderr).toBe(2)
  expect(snapshot(folder)).toEqual(before)
  const document = refusalDocument.parse(run.json())
  expect(document).toEqual(run.json())
  return document.refusal
}

const stretch = (from: string, to: string) => ({ from, to })
const act = (from: string, to: string) => ({ kind: 'programme', from, to })

describe('a sheet that cannot be obeyed is refused by every command that takes one', () => {
  // Drop-frame labels: SMPTE ST 12-1 skips ;00 and ;01 of every minute that is no tenth.
  test.each<[what: string, change: object | string, found: RegExp]>([
    ['no JSON', '{ "sheetVersion": 1, ', /no valid JSON/],
    ['an unknown name', { sgments: [] }, /sgments: an unknown name.*did you mean "segments"/],
    ['a version of the future', { sheetVersion: 2 }, /sheetVersion: 2; need one of 1/],
    ['a label that drop-frame skips', { segments: [act('01:00:57;00', '01:01:00;01')] }, /did you mean "01:01:00;02"/],
    ['frame 30 of 30', { segments: [act('01:00:57;30', '01:01:00;02')] }, /frames from 00 to 29.*"01:00:58;00"/],
    ['a time of day that is none', { segments: [act('01:00:57;00', '25:00:00;00')] }, /hours from 00 to 23/],
    ['a time in seconds', { segments: [act('57.2', '59')] }, /"57.2"; need hours, minutes, seconds and frames/],
    ['a segment behind the end', { segments: [act('01:00:57;00', '01:01:30;00')] }, /need a time inside the programme/],
    [
      'segments that overlap',
      { segments: [act('01:00:57;00', '01:00:59;00'), { kind: 'tone', ...stretch('01:00:58;00', '01:01:00;02') }] },
      /segments.1.from: "01:00:58;00", inside segments.0, which ends at 01:00:59;00/,
    ],
    [
      'a trim outside the programme',
      {
        segments: [act('01:00:59;00', '01:01:01;00')],
        fit: { trims: [{ ...stretch('01:00:57;00', '01:00:58;00'), gainDb: -1 }] },
      },
      /does not lie in one programme segment.*01:00:59;00 to 01:01:01;00/,
    ],
    [
      'a trim in a lock',
      {
        fit: {
          trims: [{ ...stretch('01:00:57;00', '01:00:59;00'), gainDb: -2.5 }],
          locks: [{ ...stretch('01:00:58;00', '01:01:00;02'), toleranceDb: 0 }],
        },
      },
      /-2.5 dB inside fit.locks.0, which allows 0 dB/,
    ],
    ['a frame rate that is none', { timecode: { rate: '26', start: '01:00:00:00' } }, /26/],
    ['drop-frame at 25', { timecode: { rate: '25', dropFrame: true, start: '01:00:00:00' } }, /drop-frame at 25/],
    ['another edition of the spec', { spec: { id: 'ebu-r128', edition: 'v3.0, 2014' } }, /another edition/],
  ])('%s', async (_, change, found) => {
    const path = write('bad.json', change)
    for (const words of [
      ['measure', path],
      ['deliver', path, '--out', at('out')],
      ['fit', path, at('fitted.wav')],
      ['sheet', 'check', path],
    ]) {
      const refusal = await refused(...words)
      expect(['JOBS_SHEET_INVALID', 'JOBS_TIMECODE_RATE']).toContain(refusal.code)
      expect(refusal.found).toMatch(found)
    }
  })

  test('every slip is told at once', async () => {
    const path = write('slips.json', { titel: {}, segments: [{ kind: 'act' }], fit: { trims: [{}] } })
    const { found } = await refused('sheet', 'check', path)
    expect(found).toMatch(/^7 problems/)
  })

  test('a source that is another file than the sheet was made for', async () => {
    const hash = sha256(at('two.wav'))
    const path = write('hash.json', { sources: [{ path: 'other.wav', sha256: hash }] })
    const refusal = await refused('deliver', path, '--out', at('out'))
    expect(refusal).toMatchObject({ code: 'JOBS_SOURCE_HASH', found: expect.stringContaining(sha256(at('other.wav'))) })
    write('hash.json', { sources: [{ path: 'two.wav', sha256: hash.slice(0, 8) }] })
    expect((await plimsoll(['sheet', 'check', path])).code).toBe(0)
  })

  test('a source that is not there, a spec that is none, and no spec at all', async () => {
    const gone = write('gone.json', { sources: [{ path: 'gone.wav' }] })
    expect((await refused('measure', gone)).code).toMatch(/^MEDIA_/)
    expect((await refused('measure', write('spec.json', { spec: { id: 'ebu-r129' } }))).code).toBe('JOBS_SPEC_UNKNOWN')
    const without = write('without.json', { spec: undefined })
    expect((await refused('fit', without, at('fitted.wav'))).code).toBe('JOBS_SPEC_MISSING')
  })

  test('deliverables that a delivery does not make', async () => {
    const path = write('deliverables.json', { deliverables: [{ role: 'lo-ro' }] })
    const refusal = await refused('deliver', path, '--out', at('out'))
    expect(refusal).toMatchObject({
      code: 'JOBS_SHEET_INVALID',
      found: expect.stringMatching(/deliverables: lo-ro; need mix-5[.]1 and lo-ro/),
    })
  })

  test('the sheet and its sources are never written over', async () => {
    const path = write('over.json', {})
    for (const target of [path, at('two.wav')]) {
      expect((await refused('fit', path, target, '--replace')).code).toBe('JOBS_OUTPUT_IS_SOURCE')
    }
  })
})

describe('files that are no reels of one programme', () => {
  test.each([
    ['another layout', 'one.wav', /mono/],
    ['another rate', 'slow.wav', /44100 Hz/],
    ['other words', 'short-words.wav', /int16/],
  ])('%s', async (_, other, found) => {
    const refusal = await refused('measure', at('two.wav'), at(other), '--as-one')
    expect(refusal).toMatchObject({ code: 'JOBS_REELS_DIFFER', found: expect.stringMatching(found) })
    const path = write('reels.json', { sources: [{ path: 'two.wav' }, { path: other }] })
    expect((await refused('fit', path, at('fitted.wav'))).code).toBe('JOBS_REELS_DIFFER')
  })

  test('a sheet among them', async () => {
    const path = write('one-of-two.json', {})
    expect((await refused('measure', at('two.wav'), path, '--as-one')).code).toBe('JOBS_REELS_DIFFER')
  })

  test('a season of one title', async () => {
    const words = ['measure', at('two.wav'), '--season', at('season.csv')]
    expect((await refused(...words)).code).toBe('CLI_SEASON_OF_ONE')
  })
})

describe('a trim of the command line', () => {
  test.each([
    ['outside the programme', '0:00:05.000 0:00:09.000 -2', 'JOBS_TRIM_PLACE', /0:00:09.000/],
    ['at a time that is none', '0:75:00 0:76:00 -2', 'JOBS_TRIM_PLACE', /0:75:00/],
    ['without a gain', '0:00:01.000 0:00:02.000', 'CLI_USAGE', /FROM TO GAIN/],
    ['of any number', '0:00:01.000 0:00:02.000 loud', 'CLI_USAGE', /FROM TO GAIN/],
  ])('%s', async (_, trim, code, found) => {
    const refusal = await refused('fit', at('two.wav'), at('fitted.wav'), '--spec', 'ebu-r128', '--trim', trim)
    expect(refusal).toMatchObject({ code, found: expect.stringMatching(found) })
  })
})
