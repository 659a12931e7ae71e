// Timecode that is nonsense, that contradicts itself or the file, and exports that cannot be: what the command says.
import { copyFileSync, readFileSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { beforeAll, describe, expect, test } from 'vitest'
import { refusalDocument } from '../../src/protocol/index.ts'
import { fileFolder, filesBelow, ownFolder, PREPARATION_MS, plimsoll, plimsollMust, snapshot } from '../testkit/cli.ts'
import { mixMaster } from '../testkit/cli-programmes.ts'
import { faultyDisk } from '../testkit/faulty-disk.ts'
import { sha256 } from '../testkit/outside.ts'
import { chunk, formatBody, noisePcm, riff } from '../testkit/wav.ts'

const folder = fileFolder()
const at = (name: string) => join(folder, name)
const SPEC = ['--spec', 'ebu-r128']
const FORMAT = { encoding: 'int24', channelCount: 2, sampleRateHz: 48000 } as const

/** Two seconds of quiet noise with an iXML chunk. */
function withIxml(name: string, xml: string | Buffer): string {
  const pcm = noisePcm(FORMAT, 96000)
  for (let at = 2; at < pcm.length; at += 3) pcm[at] = (pcm[at] as number) < 128 ? 2 : 253
  const chunks = [
    chunk('fmt ', formatBody({ channelCount: 2, bits: 24 })),
    chunk('iXML', Buffer.from(xml)),
    chunk('data', pcm),
  ]
  writeFileSync(at(name), riff(chunks))
  return at(name)
}

const speed = (inside: string) => `<BWFXML><SPEED>${inside}</SPEED></BWFXML>`
const STAMP = '<TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO>1728000000</TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO>'

beforeAll(() => {
  mixMaster(at('master.wav'), { seconds: 10 })
  mixMaster(at('master.flac'), { seconds: 5, codec: 'flac' })
}, PREPARATION_MS)

async function refusal(args: readonly string[], env: Readonly<Record<string, string>> = {}) {
  const run = await plimsoll([...args, '--json'], { env })
  expect(run.code).toBe(2)
  return refusalDocument.parse(run.json()).refusal
}

// SMPTE ST 12-1: labels ;00 and ;01 of every minute that is no tenth do not exist at 29.97 drop-frame.
describe('nonsense is refused with what was found, what is needed and the nearest label', () => {
  const DF = ['--timecode-rate', '29.97', '--drop-frame', '--timecode-start']
  const PAL = ['--timecode-rate', '25', '--timecode-start']

  test.each([
    [[...DF, '00:01:00;00'], 'JOBS_TIMECODE_LABEL', '00:01:00;00', '00:01:00;02'],
    [[...DF, '01:11:00;01'], 'JOBS_TIMECODE_LABEL', '01:11:00;01', '01:11:00;02'],
    [[...PAL, '10:00:00:25'], 'JOBS_TIMECODE_LABEL', '10:00:00:25', '10:00:01:00'],
    [[...PAL, '10:60:00:00'], 'JOBS_TIMECODE_LABEL', '10:60:00:00', '11:00:00:00'],
    [[...PAL, '10:00:00;00'], 'JOBS_TIMECODE_LABEL', '10:00:00;00', '10:00:00:00'],
    [[...PAL, 'after lunch'], 'JOBS_TIMECODE_LABEL', 'after lunch', '10:00:00:00'],
    [[...PAL, ''], 'JOBS_TIMECODE_LABEL', '""', '10:00:00:00'],
    [['--timecode-start', '10:00:00:00'], 'JOBS_TIMECODE_RATE', 'no rate', '--timecode-rate'],
    [['--timecode-rate', '25', '--drop-frame'], 'JOBS_TIMECODE_RATE', 'drop-frame at 25', '25 without drop-frame'],
    [['--timecode-rate', '26'], 'JOBS_TIMECODE_RATE', '"26"', '25'],
    [['--timecode-rate', 'PAL'], 'JOBS_TIMECODE_RATE', '"PAL"', '--timecode-rate'],
    [['--drop-frame'], 'JOBS_TIMECODE_RATE', 'no rate', '29.97'],
  ])('%j', async (words, code, found, remedy) => {
    const refused = await refusal(['measure', at('master.wav'), ...words])
    expect(refused.code).toBe(code)
    expect(refused.found).toContain(found)
    expect(refused.remedy).toContain(remedy)
  })

  test.each([['passages', ...SPEC], ['inspect'], ['verify', ...SPEC]])('%s refuses too', async (...command) => {
    const refused = await refusal([...command, at('master.wav'), ...DF, '00:01:00;00'])
    expect(refused.code).toBe('JOBS_TIMECODE_LABEL')
  })
})

describe('rates that disagree are told, and the user counts', () => {
  const findings = async (path: string, ...words: string[]) =>
    (await plimsollMust(['measure', path, ...words, '--json'], 0)).json().files[0].findings

  test('iXML says 25, the user says 24', async () => {
    const path = withIxml('pal.wav', speed(`<TIMECODE_RATE>25/1</TIMECODE_RATE>${STAMP}`))
    expect(await findings(path)).toEqual([])
    expect(await findings(path, '--timecode-rate', '24')).toMatchObject([
      { id: 'timecode-rate-disagrees', severity: 'warn', message: expect.stringMatching(/24.*25/) },
    ])
    const start = (words: string[]) =>
      plimsoll(['passages', path, ...SPEC, ...words, '--json']).then((run) => run.json().timecode)
    expect(await start([])).toEqual({ rate: '25', dropFrame: false, start: '10:00:00:00' })
    expect(await start(['--timecode-rate', '24'])).toEqual({ rate: '24', dropFrame: false, start: '10:00:00:00' })
  })

  test('iXML was recorded at another sample rate', async () => {
    const path = withIxml('pull-down.wav', speed('<FILE_SAMPLE_RATE>48048</FILE_SAMPLE_RATE>'))
    expect(await findings(path)).toMatchObject([{ id: 'sample-rate-disagrees', severity: 'warn' }])
  })

  test.each([
    ['a rate of 12', speed('<TIMECODE_RATE>12/1</TIMECODE_RATE>'), 'timecode-rate'],
    ['drop-frame at 25', speed('<TIMECODE_RATE>25</TIMECODE_RATE><TIMECODE_FLAG>DF</TIMECODE_FLAG>'), 'timecode-rate'],
    ['XML cut short', '<BWFXML><SPEED><TIMECODE_RATE>25', 'ixml'],
    ['no XML', Buffer.from([0, 1, 2, 255, 254, 60, 60, 60]), 'ixml'],
    ['two megabytes of brackets', '<'.repeat(2 ** 21), 'ixml'],
  ])('iXML with %s is a note, and the file is read', async (_, xml, id) => {
    expect(await findings(withIxml('odd.wav', xml))).toMatchObject([{ id, severity: 'note' }])
  })
})

describe('exports that cannot be', () => {
  const words = (source: string, out: string, ...more: string[]) => [
    'passages',
    source,
    ...SPEC,
    '--export',
    out,
    ...more,
  ]

  test.each([
    ['an ending that is no format', 'passages.vvt', 'JOBS_EXPORT_FORMAT', '.vtt'],
    ['no ending', 'passages', 'JOBS_EXPORT_FORMAT', 'ending'],
    ['a list of timecodes without timecode', 'passages.edl', 'JOBS_TIMECODE_RATE', '--timecode-rate 25'],
  ])('%s', async (_, name, code, remedy) => {
    const place = ownFolder()
    const refused = await refusal(words(at('master.wav'), join(place, name)))
    expect(refused.code).toBe(code)
    expect(refused.remedy).toContain(remedy)
    expect(filesBelow(place)).toEqual([])
  })

  test('markers in a FLAC file', async () => {
    const place = ownFolder()
    expect((await refusal(words(at('master.flac'), join(place, 'marked.wav')))).code).toBe('JOBS_EXPORT_NOT_WAV')
    expect(filesBelow(place)).toEqual([])
  })

  test('a marked copy of a file whose end is missing; its table is written', async () => {
    const place = ownFolder()
    writeFileSync(join(place, 'cut.wav'), readFileSync(at('master.wav')).subarray(0, 2_000_001))
    const cut = join(place, 'cut.wav')
    expect((await refusal(words(cut, join(place, 'marked.wav')))).code).toBe('JOBS_SOURCE_DAMAGED')
    await plimsollMust(words(cut, join(place, 'passages.csv')), 1)
    expect(filesBelow(place)).toEqual(['cut.wav', 'passages.csv'])
  })

  test('what is there stays, unless --replace is said; the source stays in any case', async () => {
    const place = ownFolder()
    copyFileSync(at('master.wav'), join(place, 'source.wav'))
    const [source, out] = [join(place, 'source.wav'), join(place, 'marked.wav')]
    writeFileSync(out, 'mine')
    const before = sha256(source)
    expect((await refusal(words(source, out))).code).toBe('JOBS_OUTPUT_EXISTS')
    expect(readFileSync(out, 'utf8')).toBe('mine')
    expect((await refusal(words(source, source, '--replace'))).code).toBe('JOBS_OUTPUT_IS_SOURCE')
    expect((await refusal(words(source, out, '--export', out, '--replace'))).code).toBe('JOBS_OUTPUT_EXISTS')
    expect([0, 1]).toContain((await plimsoll(words(source, out, '--replace'))).code)
    expect(readFileSync(out).subarray(0, 4).toString()).toBe('RIFF')
    expect(sha256(source)).toBe(before)
    expect(filesBelow(place)).toEqual(['marked.wav', 'source.wav'])
  })

  test.each([0, 1000, 1_000_000])('a disk that is full after %i bytes leaves nothing half-written', async (after) => {
    const place = ownFolder()
    writeFileSync(join(place, 'marked.wav'), 'the old one')
    const before = snapshot(place)
    const env = faultyDisk(place, { calls: ['write'], error: 'ENOSPC', after })
    const out = join(place, 'marked.wav')
    const refused = await refusal(words(at('master.wav'), out, '--replace'), env)
    expect(refused.code).toMatch(/_DISK_FULL$/)
    expect(snapshot(place)).toEqual(before)
  })

  test('of two exports, one that cannot be written costs the other its place too', async () => {
    const place = ownFolder()
    const table = join(place, 'passages.csv')
    const env = faultyDisk(place, { calls: ['write'], error: 'EIO', after: 50_000 })
    await refusal(words(at('master.wav'), table, '--export', join(place, 'marked.wav')), env)
    expect(filesBelow(place)).toEqual([])
  })
})
