// Dialogue from end to end: a spec that is anchored on it lands it on the target, on the bytes written.
import { join } from 'node:path'
import { beforeAll, expect, test } from 'vitest'
import { deliveryDocument, measureDocument, verifyDocument } from '../../src/protocol/index.ts'
import { fileFolder, ownFolder, PREPARATION_MS, plimsollMust } from '../testkit/cli.ts'
import { ffmpeg, mixMaster } from '../testkit/cli-programmes.ts'

const folder = fileFolder()
const at = (name: string) => join(folder, name)
const LONG_FORM = ['--spec', 'atsc-a85']
const TARGET = -24

// Outside authority: what was put into the mix (announcements from 2 s on over soft music), and ATSC A/85:2013.
beforeAll(() => {
  mixMaster(at('spoken.wav'), { musicDb: -24, speechDb: -3, seconds: 30 })
  mixMaster(at('music.wav'), { musicDb: -12, speechDb: -100, seconds: 30 })
}, PREPARATION_MS)

test('dialogue lands on the target, before and after stand in the report, and verify reads the same', async () => {
  const out = join(ownFolder(), 'delivery')
  const report = (await plimsollMust(['deliver', at('spoken.wav'), ...LONG_FORM, '--out', out, '--json'], 0)).json()
  expect(deliveryDocument.parse(report)).toEqual(report)
  const [mix, stereo] = report.deliverables
  expect(Math.abs(mix.measurements.dialogueLoudnessLkfs - TARGET)).toBeLessThan(0.1)
  expect(stereo.measurements.dialogueLoudnessLkfs).toBeCloseTo(mix.measurements.foldDown.loRo.dialogueLoudnessLkfs, 1)
  const before = report.source.measurements
  expect(before.dialogueLoudnessLkfs).not.toBeNull()
  const moved = stereo.measurements.dialogueLoudnessLkfs - before.dialogueLoudnessLkfs
  expect(moved).toBeCloseTo(report.alteration.total.staticGainDb, 1)
  const [quietest] = mix.measurements.dialogue.quietestLines
  expect(quietest.startFrame / 48000).toBeGreaterThan(1.5)
  expect(quietest.loudnessLkfs).toBeLessThan(TARGET + 1)

  const verified = (await plimsollMust(['verify', out, ...LONG_FORM, '--json'], 0)).json()
  expect(verifyDocument.parse(verified)).toEqual(verified)
  expect(Math.abs(verified.files[0].measurements.dialogueLoudnessLkfs - TARGET)).toBeLessThan(0.3)
}, 60_000)

test('with too little dialogue the total lands, and so it does where nobody listened; both are said', async () => {
  for (const [name, more, note] of [
    ['music.wav', [], 'little-dialogue'],
    ['spoken.wav', ['--no-speech'], 'anchor-not-measured'],
  ] as const) {
    const out = join(ownFolder(), 'delivery')
    const args = ['deliver', at(name), ...LONG_FORM, '--out', out, '--json', ...more]
    const report = (await plimsollMust(args, 0)).json()
    expect(Math.abs(report.deliverables[0].measurements.programmeLoudnessLkfs - TARGET)).toBeLessThan(0.1)
    expect(report.findings.map(({ id }: { id: string }) => id)).toContain(note)
  }
}, 60_000)

test('measure says how loud dialogue is, at any rate and with any number of workers', async () => {
  ffmpeg('-i', at('spoken.wav'), '-af', 'aresample=44100:resampler=soxr', '-c:a', 'pcm_s24le', at('spoken-44.wav'))
  const read = async (name: string, ...more: string[]) => {
    const document = (await plimsollMust(['measure', at(name), '--json', ...more], 0)).json()
    expect(measureDocument.parse(document)).toEqual(document)
    return document.files[0]
  }
  const one = await read('spoken.wav', '--workers', '1')
  expect(await read('spoken.wav', '--workers', '2')).toEqual(one)
  const other = await read('spoken-44.wav')
  expect(Math.abs(other.dialogueLoudnessLkfs - one.dialogueLoudnessLkfs)).toBeLessThan(0.1)
  expect(Math.abs(other.dialogueShare - one.dialogueShare)).toBeLessThan(0.02)
  const { stdout } = await plimsollMust(['measure', at('spoken.wav')], 0)
  expect(stdout).toMatch(/dialogue loudness .* LKFS {3}\d+ % of the time/)
  expect((await plimsollMust(['measure', at('spoken.wav'), '--no-speech'], 0)).stdout).not.toMatch(/dialogue/)
}, 60_000)
