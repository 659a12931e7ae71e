// Ctrl-C, a termination signal and a closed terminal in every stage: the run stops soon and leaves nothing behind.
import { spawnSync } from 'node:child_process'
import { existsSync, readFileSync, truncateSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { beforeAll, describe, expect, test } from 'vitest'
import {
  fileFolder,
  filesBelow,
  ownFolder,
  PREPARATION_MS,
  plimsollMust,
  type Run,
  snapshot,
  startPlimsoll,
} from '../testkit/cli.ts'
import { ffmpeg, mixMaster } from '../testkit/cli-programmes.ts'
import { sha256 } from '../testkit/outside.ts'

const folder = fileFolder()
const at = (name: string) => join(folder, name)
const SPEC = ['--spec', 'ebu-r128']
const BESIDE = ['--write-difference', '--picture']
/** A mixer who presses Ctrl-C does not wait for a programme to end. */
const SOON_MS = 5000

beforeAll(async () => {
  mixMaster(at('master.wav'), { musicDb: -24, speechDb: -6, seconds: 60 })
  ffmpeg('-i', at('master.wav'), '-c:a', 'flac', at('master.flac'))
  await plimsollMust(['deliver', at('master.wav'), ...SPEC, '--out', at('delivery')], 0)
}, PREPARATION_MS)

/** Starts a command, stops it as soon as it says (or does) what is waited for, and gives back how it ended. */
async function stopped(
  words: readonly string[],
  signal: NodeJS.Signals,
  moment: RegExp | (() => boolean),
  temporary: string,
): Promise<Run> {
  const { child, ended } = startPlimsoll(words, { env: { TMPDIR: temporary } })
  let said = ''
  const isTime = () => (moment instanceof RegExp ? moment.test(said) : moment())
  child.stderr?.on('data', (part: string) => {
    said += part
  })
  while (!isTime() && child.exitCode === null) await new Promise((resolve) => setTimeout(resolve, 2))
  const sentMs = performance.now()
  child.kill(signal)
  const run = await ended
  expect(performance.now() - sentMs).toBeLessThan(SOON_MS)
  return run
}

function expectStopped(run: Run): void {
  expect(run.code, run.stderr).toBe(130)
  expect(run.stderr).toMatch(/Stopped[.]/)
  expect(run.stderr).not.toMatch(/\n\s+at \S|fault of Plimsoll/)
}

/** A copy of a WAV file with a chunk of zeros at its end, which a reader passes over and a copy has to write. */
function withJunkBehind(path: string, longer: string, junkBytes: number): void {
  const bytes = readFileSync(path)
  const header = Buffer.alloc(8)
  header.write('JUNK', 0, 'latin1')
  header.writeUInt32LE(junkBytes, 4)
  bytes.writeUInt32LE(bytes.length + header.length + junkBytes - 8, 4)
  writeFileSync(longer, Buffer.concat([bytes, header]))
  truncateSync(longer, bytes.length + header.length + junkBytes)
}

const STAGES: readonly [string, RegExp][] = [
  ['analysing', /analysing/],
  ['rendering', /rendering/],
  ['verifying', /verifying/],
]

describe.each(['SIGINT', 'SIGTERM', 'SIGHUP'] as const)('%s', (signal) => {
  test.each(STAGES)('deliver while %s, over an older delivery', async (_, moment) => {
    const temporary = ownFolder()
    const before = snapshot(at('delivery'))
    const words = [
      'deliver',
      at('master.wav'),
      '--spec',
      'atsc-a85-short',
      '--out',
      at('delivery'),
      ...BESIDE,
      '--replace',
    ]
    expectStopped(await stopped(words, signal, moment, temporary))
    expect(snapshot(at('delivery'))).toEqual(before)
    expect(filesBelow(temporary)).toEqual([])
  })

  test.each(STAGES)('deliver while %s, where there was nothing', async (_, moment) => {
    const place = ownFolder()
    const words = ['deliver', at('master.wav'), ...SPEC, '--out', join(place, 'deep/out'), ...BESIDE]
    expectStopped(await stopped(words, signal, moment, ownFolder()))
    expect(snapshot(place)).toEqual([])
  })
})

describe('SIGINT', () => {
  const source = () => at('master.wav')
  const cases: readonly [string, (out: string) => readonly string[], RegExp][] = [
    [
      'deliver on one worker',
      (out) => ['deliver', source(), ...SPEC, '--out', `${out}-folder`, '--workers', '1'],
      /analysing/,
    ],
    ['measure', () => ['measure', source()], /measuring/],
    ['measure with a series', (out) => ['measure', source(), '--series', out], /measuring/],
    ['fit', (out) => ['fit', source(), out, ...SPEC], /rendering/],
    [
      'fit with its difference and its picture',
      (out) => ['fit', source(), out, ...SPEC, '--write-difference', `${out}.diff`, '--picture', `${out}.svg`],
      /verifying/,
    ],
    ['upmix', (out) => ['upmix', source(), out, '--gain', '-6'], /analysing/],
    ['upmix, later', (out) => ['upmix', source(), out, '--gain', '-6'], /rendering/],
    ['fold', (out) => ['fold', source(), out, '--to', 'mono', '--gain', '-6'], /rendering/],
    ['verify of a file', () => ['verify', source(), ...SPEC], /measuring/],
    ['verify of a folder', () => ['verify', at('delivery'), ...SPEC], /measuring/],
  ]

  test.each(cases)('%s', async (_, words, moment) => {
    const [place, temporary] = [ownFolder(), ownFolder()]
    writeFileSync(join(place, 'beside'), 'precious')
    const before = [snapshot(place), snapshot(at('delivery'))]
    expectStopped(await stopped(words(join(place, 'out')), 'SIGINT', moment, temporary))
    expect([snapshot(place), snapshot(at('delivery'))]).toEqual(before)
    expect(filesBelow(temporary)).toEqual([])
  })

  test('passages while a marked copy is written: the older copy stays', async () => {
    const place = ownFolder()
    const [long, copy] = [join(place, 'long.wav'), join(place, 'marked.wav')]
    withJunkBehind(source(), long, 600 << 20)
    writeFileSync(copy, 'older')
    const words = ['passages', long, ...SPEC, '--no-speech', '--export', copy, '--replace']
    const run = await stopped(words, 'SIGINT', /writing the marked copy/, ownFolder())
    expectStopped(run)
    expect(readFileSync(copy, 'latin1')).toBe('older')
    expect(filesBelow(place)).toEqual(['long.wav', 'marked.wav'])
  })

  test('deliver while the ceiling is forecast', async () => {
    const place = ownFolder()
    const programmeLoudness = { targetLkfs: -14, toleranceBelowLu: 2, toleranceAboveLu: 2 }
    const named = { id: 'loud', title: 'Loud', purpose: 'A test.', edition: '1' }
    const spec = JSON.stringify({ specVersion: 1, ...named, programmeLoudness, maxTruePeakDbtp: -1 })
    writeFileSync(join(place, 'loud.json'), spec)
    const words = ['deliver', source(), '--spec', join(place, 'loud.json'), '--out', join(place, 'out')]
    expectStopped(await stopped(words, 'SIGINT', /forecasting/, ownFolder()))
    expect(filesBelow(place)).toEqual(['loud.json'])
  })

  test('while a FLAC is decoded', async () => {
    const [place, temporary] = [ownFolder(), ownFolder()]
    const words = ['deliver', at('master.flac'), ...SPEC, '--out', join(place, 'out')]
    const isDecoding = () => existsSync(join(place, 'out/.plimsoll-work'))
    expectStopped(await stopped(words, 'SIGINT', isDecoding, temporary))
    expect([...snapshot(place), ...snapshot(temporary)]).toEqual([])
  })

  test('twice: ends at once, and the next start clears what was left', async () => {
    const place = ownFolder()
    const words = ['deliver', at('master.wav'), ...SPEC, '--out', join(place, 'out')]
    const { child, ended } = startPlimsoll(words)
    while (!existsSync(join(place, 'out/.plimsoll-work'))) await new Promise((resolve) => setTimeout(resolve, 2))
    child.kill('SIGINT')
    child.kill('SIGINT')
    expect((await ended).code).toBe(130)
    await plimsollMust(words, 0)
    expect(filesBelow(place).filter((name) => name.includes('.plimsoll'))).toEqual([])
  })

  test('with --json: one document that says so', async () => {
    const words = ['deliver', at('master.wav'), ...SPEC, '--out', join(ownFolder(), 'out'), '--json']
    const run = await stopped(words, 'SIGINT', /analysing/, ownFolder())
    expect(run.code).toBe(130)
    expect(run.json()).toEqual({ version: 1, stopped: expect.stringMatching(/Stopped/) })
  })

  test('of a whole group, as a terminal sends it', () => {
    const place = ownFolder()
    const script = 'set -m; "$@" & sleep 1; kill -INT -- -$!; wait $!; echo $?'
    const program = new URL('../../dist/cli/main.js', import.meta.url).pathname
    const words = ['deliver', at('master.wav'), ...SPEC, '--out', join(place, 'out')]
    const { stdout } = spawnSync('bash', ['-c', script, 'bash', process.execPath, program, ...words], {
      encoding: 'utf8',
    })
    expect(stdout.trim().split('\n').at(-1)).toBe('130')
    expect(snapshot(place)).toEqual([])
  })
})

test('the source was never touched', () => {
  const again = mixMaster(at('again.wav'), { musicDb: -24, speechDb: -6, seconds: 60 })
  expect(sha256(at('master.wav'))).toBe(sha256(again))
})
