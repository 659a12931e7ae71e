// The whole job from the outside: real masters in, delivered files read by FFmpeg, libebur128 and NumPy.
import { execFileSync } from 'node:child_process'
import { copyFileSync, mkdirSync, readFileSync, statSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { beforeAll, describe, expect, test } from 'vitest'
import { deliveryDocument } from '../../src/protocol/index.ts'
import {
  deliverySums,
  fileFolder,
  filesBelow,
  ownFolder,
  PREPARATION_MS,
  plimsoll,
  plimsollMust,
  type Run,
} from '../testkit/cli.ts'
import { ffmpeg, type Mix, mixMaster } from '../testkit/cli-programmes.ts'
import { byNumpy, readWavByFfmpeg, readWavByLibebur128, sha256, wavShape } from '../testkit/outside.ts'

const folder = fileFolder()

type ManifestRow = { readonly path: string; readonly bytes: number; readonly sha256: string }

/** How a delivery is named here: where its files lie and what the command said. */
type Made = {
  readonly master: string
  readonly out: string
  readonly run: Run
  readonly mix: string
  readonly stereo: string
}

async function make(name: string, mix: Mix, args: readonly string[]): Promise<Made> {
  const master = mixMaster(join(folder, `${name}.wav`), mix)
  return { master, ...(await deliverTo(join(folder, `${name}-delivery`), name, master, args)) }
}

async function deliverTo(out: string, name: string, master: string, args: readonly string[]) {
  const run = await plimsollMust(['deliver', master, '--out', out, '--json', ...args], 0)
  return { out, run, mix: join(out, `${name}_51.wav`), stereo: join(out, `${name}_20.wav`) }
}

function ownSpec(targetLkfs: number, maxTruePeakDbtp: number | undefined, toleranceLu = 1): string {
  const path = join(folder, `own${targetLkfs}${maxTruePeakDbtp}.json`)
  const programmeLoudness = { targetLkfs, toleranceBelowLu: toleranceLu, toleranceAboveLu: toleranceLu }
  const named = { id: 'own', title: 'Own', purpose: 'A test.', edition: '1' }
  writeFileSync(path, JSON.stringify({ specVersion: 1, ...named, programmeLoudness, maxTruePeakDbtp }))
  return path
}

/** Speech that is raised into a ceiling of -1 dBTP: the peaks of speech stand far above its loudness. */
const DRIVEN: Mix = { music: 'Nebula', musicDb: -30, speechDb: 0 }
/** Five seconds 14 dB above the rest: short-term loudness far above the whole. */
const LEAP: Mix = {
  music: 'Advanced Simulacra',
  musicDb: -14,
  speechDb: -4,
  finish: "volume='if(between(t,14,19),1,0.2)':eval=frame",
}

let plain: Made
let driven: Made
let ridden: Made

beforeAll(async () => {
  plain = await make('plain', {}, ['--spec', 'atsc-a85-short'])
  driven = await make('driven', DRIVEN, ['--spec', ownSpec(-15, -1), '--gain-curve'])
  ridden = await make('ridden', LEAP, ['--spec', 'ebu-r128-s1', '--gain-curve'])
}, PREPARATION_MS)

describe('as FFmpeg and libebur128 read the delivered files', () => {
  // Targets and lines: ATSC A/85:2013 (-24 +-2 LKFS, -2 dBTP), EBU R 128 s1 (-23 +-0.2, max short-term -18 LUFS, -1 dBTP).
  const cases: readonly [string, () => Made, target: number, tolerance: number, ceiling: number][] = [
    ['a master that only has to be turned down', () => plain, -24, 2, -2],
    ['a master driven into the ceiling', () => driven, -15, 1, -1],
    ['a short-form master that needs a ride', () => ridden, -23, 0.2, -1],
  ]

  test.each(cases)('%s', (_, made, target, tolerance, ceiling) => {
    const { mix, stereo } = made()
    expect(readWavByFfmpeg(mix).layout).toBe('5.1')
    // FFmpeg names no layout of two channels behind a plain header, which is stereo by common practice.
    expect(readWavByFfmpeg(stereo).layout).toMatch(/^(?:stereo|unknown)$/)
    for (const read of [readWavByFfmpeg, (path: string) => readWavByLibebur128(path)]) {
      const [of51, of20] = [read(mix), read(stereo)]
      expect(Math.abs(of51.programmeLoudnessLkfs - target)).toBeLessThanOrEqual(0.1)
      expect(Math.abs(of20.programmeLoudnessLkfs - target)).toBeLessThanOrEqual(tolerance)
      expect(of51.maxTruePeakDbtp).toBeLessThanOrEqual(ceiling)
      expect(of20.maxTruePeakDbtp).toBeLessThanOrEqual(ceiling)
    }
  })

  test('the ride holds the short-term line in both files', () => {
    for (const path of [ridden.mix, ridden.stereo]) {
      expect(readWavByFfmpeg(path).maxShortTermLkfs).toBeLessThanOrEqual(-18)
      expect(readWavByLibebur128(path, 'full').maxShortTermLkfs).toBeLessThanOrEqual(-18)
    }
    const { alteration } = ridden.run.json()
    expect(alteration.ride.movementDb).toBeGreaterThan(1)
  })

  test('the case that was to be driven into the ceiling was', () => {
    const { ceiling } = driven.run.json().alteration
    expect(ceiling.events).toBeGreaterThan(1)
    expect(ceiling.deepestDb).toBeGreaterThan(1)
  })

  test('what Plimsoll says of its files is what the others read', () => {
    for (const { run, out } of [plain, driven, ridden]) {
      for (const { path, measurements } of run.json().deliverables) {
        const others = readWavByLibebur128(join(out, path))
        expect(measurements.programmeLoudnessLkfs).toBeCloseTo(others.programmeLoudnessLkfs, 2)
        expect(Math.abs(measurements.maxTruePeakDbtp - others.maxTruePeakDbtp)).toBeLessThan(0.1)
      }
    }
  })
})

describe('every file is aligned with the master to the frame', () => {
  test.each([
    ['static', () => plain],
    ['ceiling', () => driven],
    ['ride', () => ridden],
  ])('%s', (_, made) => {
    const { master, mix, stereo } = made()
    const { lags, frames } = byNumpy<{ lags: Record<string, number>; frames: number[] }>('lag', master, mix)
    expect(lags).toEqual({ L: 0, R: 0, C: 0, Ls: 0, Rs: 0 })
    expect(frames[0]).toBe(frames[1])
    expect(wavShape(stereo).frameCount).toBe(wavShape(master).frameCount)
  })
})

describe('fold-down lock', () => {
  // Law A: coefficients of ITU-R BS.775-4 Table 2, k = sqrt(1/2), summed in float64 and rounded to the word.
  test.each([
    ['static', () => plain],
    ['ceiling', () => driven],
    ['ride', () => ridden],
  ])('law A at 24 bit: %s', (_, made) => {
    const { differing, frames, bits, loudest } = byNumpy('fold', made().mix, made().stereo)
    expect({ differing, bits }).toEqual({ differing: 0, bits: 24 })
    expect(frames).toBe(30 * 48000)
    expect(loudest).toBeGreaterThan(2 ** 16)
  })

  test.each([
    ['static', () => plain.master, ['--spec', 'atsc-a85-short']],
    ['ride', () => ridden.master, ['--spec', 'ebu-r128-s1']],
  ])('law A at 16 bit: %s', async (name, master, args) => {
    const sixteen = await deliverTo(ownFolder(), name === 'ride' ? 'ridden' : 'plain', master(), [
      ...args,
      '--bits',
      '16',
    ])
    expect(byNumpy('fold', sixteen.mix, sixteen.stereo)).toMatchObject({ differing: 0, bits: 16 })
  })

  test('law B with static gain only: the master times the gain, within half the last bit', () => {
    const { alteration } = plain.run.json()
    expect(alteration.ride).toBeNull()
    expect(alteration.ceiling.events).toBe(0)
    const { largest_lsb } = byNumpy('static', plain.master, plain.stereo, alteration.total.staticGainDb)
    // Half a bit, and what float64 loses of a 24-bit word on the way.
    expect(largest_lsb).toBeLessThanOrEqual(0.5 + 2 ** -20)
  })

  test.each([
    ['ceiling', () => driven, 'driven'],
    ['ride', () => ridden, 'ridden'],
  ])('law B with a gain that moves: the master times the gain curve, within one bit: %s', (_, made, name) => {
    const { master, stereo, out } = made()
    const { largest_lsb, frames, gain_db } = byNumpy<{ largest_lsb: number; frames: number; gain_db: number[] }>(
      'curve',
      master,
      stereo,
      join(out, `${name}_gain.wav`),
    )
    expect(frames).toBe(30 * 48000)
    expect(largest_lsb).toBeLessThanOrEqual(1)
    // The curve is not a constant: the law is tested on a gain that moves.
    expect(gain_db[1]! - gain_db[0]!).toBeGreaterThan(1)
  })
})

describe('a stereo with a gain of its own', () => {
  test('is the master times both constants, and the report says that the lock is open on purpose', async () => {
    const own = await deliverTo(ownFolder(), 'plain', plain.master, ['--spec', 'ebu-r128', '--set', 'stereoGain=own'])
    const { foldDownLock, alteration, findings } = own.run.json()
    expect(foldDownLock).toMatchObject({ state: 'open', openedBy: ['stereoGain'] })
    expect(findings.map(({ id }: { id: string }) => id)).toContain('fold-down-lock')
    expect(foldDownLock.stereoGainDb).not.toBe(0)
    const gainDb = alteration.total.staticGainDb + foldDownLock.stereoGainDb
    expect(byNumpy('static', plain.master, own.stereo, gainDb).largest_lsb).toBeLessThanOrEqual(0.5 + 2 ** -20)
    for (const path of [own.mix, own.stereo]) {
      expect(Math.abs(readWavByLibebur128(path).programmeLoudnessLkfs + 23)).toBeLessThanOrEqual(0.1)
    }
    await plimsollMust(['verify', own.out, '--spec', 'ebu-r128'], 0)
  })
})

describe('nothing clips', () => {
  test.each([
    ['a spec without a true-peak line', undefined],
    ['a spec that allows peaks above full scale', 2],
  ])('%s', async (_, maxTruePeakDbtp) => {
    const spec = ownSpec(-14, maxTruePeakDbtp, 6)
    const loud = await deliverTo(ownFolder(), 'driven', driven.master, ['--spec', spec])
    expect(loud.run.json().alteration.ceiling.events).toBeGreaterThan(0)
    for (const path of [loud.mix, loud.stereo]) {
      // Clipped samples would stand at full scale, and rise above it between the samples.
      expect(Math.max(...byNumpy<{ peaks: number[] }>('peaks', path).peaks)).toBeLessThan(1 - 2 ** -15)
      expect(readWavByLibebur128(path).maxTruePeakDbtp).toBeLessThanOrEqual(0)
    }
    expect(byNumpy('fold', loud.mix, loud.stereo)).toMatchObject({ differing: 0 })
  })
})

describe('what lies in the folder', () => {
  test('the files, listed with their checksums; the log stands outside', () => {
    const names = [
      'manifest.json',
      'plain_20.wav',
      'plain_51.wav',
      'plan.json',
      'report.html',
      'report.json',
      'report.pdf',
      'run.log',
      'sha256.txt',
    ]
    expect(filesBelow(plain.out)).toEqual(names)
    expect(filesBelow(ridden.out)).toContain('ridden_gain.wav')
  })

  test('sha256sum of the GNU core utilities finds every file whole', () => {
    const sums = deliverySums(plain.out)
    const manifest = JSON.parse(readFileSync(join(plain.out, 'manifest.json'), 'utf8'))
    const { 'manifest.json': _, ...listed } = sums
    expect(Object.fromEntries(manifest.files.map((file: ManifestRow) => [file.path, file.sha256]))).toEqual(listed)
    for (const { path, bytes } of manifest.files) expect(statSync(join(plain.out, path)).size).toBe(bytes)
    execFileSync('sha256sum', ['--check', '--strict', '--quiet', 'sha256.txt'], { cwd: plain.out })
    const lines = readFileSync(join(plain.out, 'sha256.txt'), 'utf8').trim().split('\n')
    expect(lines).toHaveLength(Object.keys(sums).length - 2)
  })

  test('report.json is what the command printed, and has the form that is promised', () => {
    for (const { run, out } of [plain, driven, ridden]) {
      const document = run.json()
      expect(deliveryDocument.parse(document)).toEqual(document)
      expect(JSON.parse(readFileSync(join(out, 'report.json'), 'utf8'))).toEqual(document)
      expect(document.passes).toBeLessThanOrEqual(3)
      expect(document.source.sha256).toBe(sha256(join(folder, document.source.path)))
    }
  })

  test('no name of the machine and no clock in any file of the manifest', () => {
    const clock = new RegExp(`${new Date().getFullYear()}-\\d\\d-\\d\\d|${folder.split('/').at(-1)}`)
    for (const name of filesBelow(plain.out).filter((file) => !/[.]wav$|run[.]log$/.test(file))) {
      expect(clock.exec(readFileSync(join(plain.out, name), 'utf8'))?.[0], name).toBeUndefined()
    }
  })
})

describe('a programme that cannot conform', () => {
  /** -1 LKFS below a ceiling of -20 dBTP asks for a loudness above every peak. */
  const impossible = () => ownSpec(-12, -11.5)

  test('gives no delivery, exit 1 and the page that tells why', async () => {
    const out = join(ownFolder(), 'out')
    const run = await plimsoll(['deliver', plain.master, '--spec', impossible(), '--out', out, '--json'])
    expect(run.code).toBe(1)
    const document = run.json()
    expect(deliveryDocument.parse(document)).toEqual(document)
    expect(document.conforms).toBe(false)
    expect(document.findings.some((finding: { severity: string }) => finding.severity === 'fail')).toBe(true)
    expect(filesBelow(out)).toEqual(['not-delivered.html', 'run.log'])
  })

  test('leaves an earlier delivery as it was', async () => {
    const out = join(ownFolder(), 'out')
    await deliverTo(out, 'plain', plain.master, ['--spec', 'atsc-a85-short'])
    const before = deliverySums(out)
    const run = await plimsoll(['deliver', plain.master, '--spec', impossible(), '--out', out, '--replace'])
    expect(run.code).toBe(1)
    expect(deliverySums(out)).toEqual({ ...before, 'not-delivered.html': expect.any(String) })
    // The next delivery that succeeds takes the page away.
    await deliverTo(out, 'plain', plain.master, ['--spec', 'atsc-a85-short', '--replace'])
    expect(deliverySums(out)).toEqual(before)
  })

  test('is kept under names that say so, when that is asked for', async () => {
    const out = join(ownFolder(), 'out')
    const args = ['deliver', plain.master, '--spec', impossible(), '--out', out, '--keep-nonconforming', '--json']
    const run = await plimsoll(args)
    expect(run.code).toBe(1)
    expect(filesBelow(out).filter((name) => name.endsWith('.wav'))).toEqual([
      'plain_20_nonconforming.wav',
      'plain_51_nonconforming.wav',
    ])
    expect(run.json().deliverables.map(({ path }: { path: string }) => path)).toEqual([
      'plain_51_nonconforming.wav',
      'plain_20_nonconforming.wav',
    ])
    expect((await plimsoll(['verify', out, '--spec', impossible()])).code).toBe(1)
  })
})

describe('other sources', () => {
  test('a 5.1 in film order gives the delivery of the same 5.1 in ITU order', async () => {
    const at = ownFolder()
    const film = join(at, 'film', 'six.wav')
    const itu = join(at, 'itu', 'six.wav')
    for (const name of ['film', 'itu']) mkdirSync(join(at, name))
    copyFileSync(plain.mix, itu)
    byNumpy('film_order', plain.mix, film)
    for (const [name, path, order] of [
      ['film', film, 'film'],
      ['itu', itu, 'itu'],
    ] as const) {
      const args = ['--spec', 'ebu-r128', '--out', join(at, name, 'out'), '--layout', '5.1', '--order', order]
      await plimsollMust(['deliver', path, ...args], 0)
    }
    for (const file of ['six_51.wav', 'six_20.wav']) {
      expect(byNumpy('same', join(at, 'film', 'out', file), join(at, 'itu', 'out', file))).toEqual({ differing: 0 })
    }
  })

  test('a FLAC gives the audio of the WAV that it was made from', async () => {
    const at = ownFolder()
    const flac = join(at, 'plain.flac')
    ffmpeg('-i', plain.master, '-c:a', 'flac', '-sample_fmt', 's32', '-bits_per_raw_sample', '24', flac)
    const made = await deliverTo(join(at, 'out'), 'plain', flac, ['--spec', 'atsc-a85-short'])
    expect(byNumpy('same', made.mix, plain.mix)).toEqual({ differing: 0 })
    expect(byNumpy('same', made.stereo, plain.stereo)).toEqual({ differing: 0 })
    expect(made.run.json().source.sha256).toBe(sha256(flac))
  })

  test('a 16-bit master, delivered at 24 and at 16 bit', async () => {
    const at = ownFolder()
    const master = mixMaster(join(at, 'short-words.wav'), { codec: 'pcm_s16le', seconds: 20 })
    for (const bits of [24, 16]) {
      const made = await deliverTo(join(at, `${bits}`), 'short-words', master, [
        '--spec',
        'ebu-r128',
        '--bits',
        `${bits}`,
      ])
      expect(byNumpy('fold', made.mix, made.stereo)).toMatchObject({ differing: 0, bits })
      expect(Math.abs(readWavByLibebur128(made.mix).programmeLoudnessLkfs + 23)).toBeLessThanOrEqual(0.1)
    }
  })

  test('a name of any script, with spaces, becomes plain file names', async () => {
    const at = ownFolder()
    const master = mixMaster(join(at, 'Café — Folge 3 (neu).wav'), { seconds: 12 })
    await plimsollMust(['deliver', master, '--spec', 'ebu-r128', '--out', join(at, 'out')], 0)
    expect(filesBelow(join(at, 'out')).filter((name) => name.endsWith('.wav'))).toEqual([
      'Café-Folge-3-neu_20.wav',
      'Café-Folge-3-neu_51.wav',
    ])
    const escaped = join(at, 'escaped')
    await plimsollMust(['deliver', master, '--spec', 'ebu-r128', '--out', escaped, '--title', '../../up'], 0)
    expect(filesBelow(at).filter((name) => name.startsWith('..'))).toEqual([])
    expect(
      filesBelow(escaped)
        .filter((name) => name.endsWith('.wav'))
        .every((name) => name.startsWith('..')),
    ).toBe(false)
  })
})
