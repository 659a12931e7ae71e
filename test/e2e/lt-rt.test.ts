// Lt/Rt masters through the built command; the re-encode lock read from outside by NumPy.
import { readFileSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { beforeAll, describe, expect, test } from 'vitest'
import { deliveryDocument, verifyDocument } from '../../src/protocol/index.ts'
import { fileFolder, ownFolder, PREPARATION_MS, plimsollMust } from '../testkit/cli.ts'
import { ffmpeg, mixMaster } from '../testkit/cli-programmes.ts'
import { makeMatrixSet } from '../testkit/matrix-mixes.ts'
import { byNumpy, readWavByLibebur128, sha256 } from '../testkit/outside.ts'

const folder = fileFolder()
const at = (name: string) => join(folder, name)
const SECONDS = 28

// Outside authority: speech in C and music in S, encoded by NumPy and SciPy with a 90-degree filter.
beforeAll(() => {
  makeMatrixSet('tune', folder, SECONDS, ['c-s-music'])
  const track = (index: number) => {
    const skip = `${index * SECONDS * 48000 * 4}`
    return ['-skip_initial_bytes', skip, '-f', 'f32le', '-ar', '48000', '-ac', '1', '-i', at('c-s-music.f32')]
  }
  const join2 = '[0:a][1:a]join=inputs=2:channel_layout=stereo,volume=-6dB'
  ffmpeg(...track(0), ...track(1), '-filter_complex', join2, '-t', `${SECONDS}`, '-c:a', 'pcm_s24le', at('lt-rt.wav'))
  mixMaster(at('stereo.wav'), { musicDb: -18, speechDb: -6, seconds: 12 })
}, PREPARATION_MS)

type DeliveredRow = {
  readonly measurements: {
    readonly programmeLoudnessLkfs: number
    readonly foldDown: { readonly loRo: { readonly programmeLoudnessLkfs: number } | null }
  }
}
type Finding = { readonly id: string; readonly message: string }

async function upmixed(name: string, ...set: readonly string[]): Promise<readonly Finding[]> {
  const words = set.flatMap((each) => ['--set', each])
  const run = await plimsollMust(['upmix', at(`${name}.wav`), at('out.wav'), '--replace', '--json', ...words], 0)
  return run.json().findings
}
const ids = (findings: readonly Finding[]) => findings.map(({ id }) => id)
const encode = (master: string) =>
  byNumpy<{ differing: number; levels_dbfs: readonly number[] }>('encode', at('out.wav'), at(master))

describe('upmix', () => {
  test('auto decodes what is found to be Lt/Rt, and its five words encode to it again, every one', async () => {
    const findings = await upmixed('lt-rt')
    expect(ids(findings)).toEqual(expect.arrayContaining(['lt-rt-decoded']))
    expect(ids(findings).some((id) => id === 'source-matrix' || id === 'source-kind-doubtful')).toBe(true)
    const { differing, levels_dbfs } = encode('lt-rt.wav')
    expect(differing).toBe(0)
    const [l, r, c, , ls, rs] = levels_dbfs as [number, number, number, number, number, number]
    // Nothing was encoded left or right.
    expect(Math.max(l, r)).toBeLessThan(Math.min(c, ls, rs) - 12)
  })

  test('the mixer has the last word, and is told where the tracks look otherwise', async () => {
    const findings = await upmixed('lt-rt', 'kind=stereo')
    expect(ids(findings)).not.toContain('lt-rt-decoded')
    expect(ids(findings)).not.toContain('source-kind-doubtful')
    expect(byNumpy('fold', at('out.wav'), at('lt-rt.wav'))).toMatchObject({ differing: 0 })
    expect(ids(await upmixed('stereo'))).not.toContain('lt-rt-decoded')
    expect(ids(await upmixed('stereo', 'kind=lt-rt'))).toEqual(
      expect.arrayContaining(['source-kind-asked', 'lt-rt-decoded']),
    )
    expect(encode('stereo.wav').differing).toBe(0)
  })
})

describe('deliver', () => {
  // ATSC A/85 leaves either file 2 LU around its target, so one gain can serve both.
  const deliver = (source: string, out: string, ...more: readonly string[]) =>
    ['deliver', source, '--spec', 'atsc-a85', '--out', out, '--replace', '--json', ...more] as const
  const [mix, twoTrack] = [(out: string) => join(out, 'lt-rt_51.wav'), (out: string) => join(out, 'lt-rt_ltrt.wav')]

  test('an Lt/Rt becomes a fitted 5.1 and the Lt/Rt that it encodes to: NumPy finds no word that differs', async () => {
    const out = ownFolder()
    const document = (await plimsollMust(deliver(at('lt-rt.wav'), out, '--no-speech'), 0)).json()
    expect(deliveryDocument.parse(document)).toEqual(document)
    expect(document.deliverables.map(({ path, role }: { path: string; role: string }) => [path, role])).toEqual([
      ['lt-rt_51.wav', 'mix-5.1'],
      ['lt-rt_ltrt.wav', 'lt-rt'],
    ])
    expect(document.foldDownLock).toMatchObject({ law: 'lt-rt', state: 'closed', differingSamples: 0 })
    expect(byNumpy('encode', mix(out), twoTrack(out))).toMatchObject({ differing: 0 })
    // Law B: the Lt/Rt is the master under the gain that the report tells.
    const gainDb = document.alteration.total.staticGainDb
    expect(document.alteration.ride).toBeNull()
    expect(byNumpy('static', at('lt-rt.wav'), twoTrack(out), gainDb).largest_lsb).toBeLessThanOrEqual(0.5 + 2 ** -20)
    // ATSC A/85: -24 LKFS, -2 dBTP, by libebur128; the fold-down by FFmpeg's arithmetic.
    const byProbe = readWavByLibebur128(mix(out))
    expect(Math.abs(byProbe.programmeLoudnessLkfs + 24)).toBeLessThanOrEqual(0.1)
    expect(byProbe.maxTruePeakDbtp).toBeLessThanOrEqual(-2)
    const told = document.deliverables.map(({ measurements }: DeliveredRow) => measurements)
    expect(told[1].programmeLoudnessLkfs).toBeCloseTo(readWavByLibebur128(twoTrack(out)).programmeLoudnessLkfs, 2)
    expect(document.source.measurements.programmeLoudnessLkfs).toBeCloseTo(
      readWavByLibebur128(at('lt-rt.wav')).programmeLoudnessLkfs,
      2,
    )
    const k = Math.SQRT1_2
    const loRo = `pan=stereo|c0=c0+${k}*c2+${k}*c4|c1=c1+${k}*c2+${k}*c5`
    ffmpeg('-i', mix(out), '-af', loRo, '-c:a', 'pcm_s24le', at('lo-ro.wav'))
    const folded = readWavByLibebur128(at('lo-ro.wav')).programmeLoudnessLkfs
    expect(told[0].foldDown.loRo.programmeLoudnessLkfs).toBeCloseTo(folded, 2)
    // The Lo/Ro is another stereo than the one delivered, and the lines of the spec are held against it.
    expect(byNumpy('fold', mix(out), twoTrack(out)).differing).toBeGreaterThan(0)
    expect(document.margins.map(({ line }: { line: string }) => line)).toContain('foldDown.loRo.programmeLoudnessLkfs')
    expect(readFileSync(join(out, 'report.html'), 'utf8')).toContain('The re-encode lock is closed')
  })

  test('verify proves the lock from the files, and sees one word that was changed', async () => {
    const out = ownFolder()
    await plimsollMust(deliver(at('lt-rt.wav'), out), 0)
    const verified = (await plimsollMust(['verify', out, '--spec', 'atsc-a85', '--json'], 0)).json()
    expect(verifyDocument.parse(verified)).toEqual(verified)
    expect(verified.foldDownLock).toMatchObject({ law: 'lt-rt', state: 'closed', openedBy: [] })
    const bytes = readFileSync(twoTrack(out))
    const word = bytes.length - 3000
    bytes[word] = (bytes[word] as number) ^ 1
    writeFileSync(twoTrack(out), bytes)
    const manifest = JSON.parse(readFileSync(join(out, 'manifest.json'), 'utf8'))
    const row = manifest.files.find(({ role }: { role: string }) => role === 'lt-rt')
    row.sha256 = sha256(twoTrack(out))
    writeFileSync(join(out, 'manifest.json'), JSON.stringify(manifest))
    const spoiled = (await plimsollMust(['verify', out, '--spec', 'atsc-a85', '--json'], 1)).json()
    expect(spoiled.foldDownLock).toMatchObject({ law: 'lt-rt', state: 'open', differingSamples: 1 })
  })

  test('16 bits, and a gain that moves, keep the lock', async () => {
    const out = ownFolder()
    const loud = ['--trim', '0:00:05.000 0:00:09.000 -6', '--gain-curve', '--bits', '16']
    const document = (await plimsollMust(deliver(at('lt-rt.wav'), out, ...loud), 0)).json()
    expect(document.foldDownLock.state).toBe('closed')
    expect(byNumpy('encode', mix(out), twoTrack(out))).toMatchObject({ differing: 0 })
    const told = byNumpy<{ largest_lsb: number; gain_db: number[] }>(
      'curve',
      at('lt-rt.wav'),
      twoTrack(out),
      join(out, 'lt-rt_gain.wav'),
    )
    // One word of rounding and the triangular dither of two.
    expect(told.largest_lsb).toBeLessThanOrEqual(1.5 + 2 ** -7)
    expect(told.gain_db[1]! - told.gain_db[0]!).toBeGreaterThan(5)
  })

  test('where the tolerance is narrow the Lt/Rt gets a gain of its own, and the report says that the lock is open', async () => {
    const out = ownFolder()
    const document = (await plimsollMust(deliver(at('lt-rt.wav'), out, '--spec', 'ebu-r128'), 0)).json()
    expect(document.foldDownLock).toMatchObject({ law: 'lt-rt', openedBy: ['stereoGain'] })
    for (const path of [mix(out), twoTrack(out)]) {
      expect(Math.abs(readWavByLibebur128(path).programmeLoudnessLkfs + 23)).toBeLessThanOrEqual(0.1)
    }
    await plimsollMust(['verify', out, '--spec', 'ebu-r128'], 0)
  })

  test('the sheet says what a source is, and the command has the last word', async () => {
    const sheet = (name: string, change: object) => {
      const title = { id: 'saltmarsh-lane-104', name: 'Saltmarsh Lane, episode 4' }
      writeFileSync(at(name), JSON.stringify({ sheetVersion: 1, title, ...change }))
      return at(name)
    }
    const rolesOf = async (path: string, ...more: readonly string[]) => {
      const { deliverables } = (await plimsollMust(deliver(path, ownFolder(), ...more), 0)).json()
      return deliverables.map(({ role }: { role: string }) => role)
    }
    const asStereo = sheet('stereo.json', { sources: [{ path: 'lt-rt.wav', kind: 'stereo' }] })
    const asMatrix = sheet('matrix.json', {
      sources: [{ path: 'lt-rt.wav', kind: 'lt-rt' }],
      deliverables: [{ role: 'mix-5.1' }, { role: 'lt-rt', name: '{id}_LtRt.wav' }],
    })
    expect(await rolesOf(asStereo)).toEqual(['mix-5.1', 'lo-ro'])
    expect(await rolesOf(asMatrix)).toEqual(['mix-5.1', 'lt-rt'])
    expect(await rolesOf(asStereo, '--set', 'kind=auto')).toEqual(['mix-5.1', 'lt-rt'])
    const wrong = sheet('wrong.json', {
      sources: [{ path: 'lt-rt.wav', kind: 'auto' }],
      deliverables: [{ role: 'mix-5.1' }, { role: 'lo-ro' }],
    })
    const { stderr } = await plimsollMust(deliver(wrong, ownFolder()), 2)
    expect(stderr).toContain('mix-5.1 and lt-rt')
  })

  test('reels and scenes: the lock holds across the join and every glide, and a reel is no seam', async () => {
    const reels = { 'reel-1.wav': 'end=13', 'reel-2.wav': 'start=13' }
    for (const [reel, cut] of Object.entries(reels)) {
      ffmpeg('-i', at('lt-rt.wav'), '-af', `atrim=${cut}`, '-c:a', 'pcm_s24le', at(reel))
    }
    const delivered = async (name: string, paths: readonly string[]) => {
      const scenes = [
        { from: '0:00:06.000', to: '0:00:16.000', glideInMs: 10, glideOutMs: 2000, settings: { centreShare: 0.3 } },
        { from: '0:00:20.000', to: '0:00:22.500', settings: { ambienceShare: 0, surroundHighCutHz: 5000 } },
      ]
      const sources = paths.map((path) => ({ path, kind: 'lt-rt' }))
      const title = { id: 'lt-rt', name: 'Saltmarsh Lane, episode 5' }
      writeFileSync(at(name), JSON.stringify({ sheetVersion: 1, title, sources, upmix: { scenes } }))
      const out = ownFolder()
      const document = (await plimsollMust(deliver(at(name), out, '--no-speech'), 0)).json()
      return { out, document }
    }
    const joined = await delivered('reels.json', Object.keys(reels))
    expect(joined.document.foldDownLock).toMatchObject({ law: 'lt-rt', state: 'closed', differingSamples: 0 })
    expect(byNumpy('encode', mix(joined.out), twoTrack(joined.out))).toMatchObject({ differing: 0 })
    const whole = await delivered('whole.json', ['lt-rt.wav'])
    // Reels are measured each by itself, so that the gains are not quite the same; dither is of the source's own hash.
    const gainOf = (made: typeof whole): number => made.document.alteration.total.staticGainDb
    const apartDb = gainOf(joined) - gainOf(whole)
    expect(Math.abs(apartDb)).toBeLessThan(0.05)
    for (const file of [mix, twoTrack]) {
      const { largest_lsb } = byNumpy<{ largest_lsb: number }>('static', file(whole.out), file(joined.out), apartDb)
      expect(largest_lsb).toBeLessThanOrEqual(8)
    }
    // The scenes act: the 5.1 is another one without them, the Lt/Rt the same but for the gain of the fit.
    const plain = ownFolder()
    await plimsollMust(deliver(at('lt-rt.wav'), plain, '--no-speech'), 0)
    expect(byNumpy<{ differing: number }>('same', mix(whole.out), mix(plain)).differing).toBeGreaterThan(48000)
  })

  test('a new sheet says that a source is Lt/Rt where that is certain, and why', async () => {
    const kinds = async (name: string) => {
      const path = at(`${name}-new.json`)
      const { stdout } = await plimsollMust(['sheet', 'new', at(`${name}.wav`), '--out', path, '--no-speech'], 0)
      await plimsollMust(['sheet', 'check', path], 0)
      return { sources: JSON.parse(readFileSync(path, 'utf8')).sources, stdout }
    }
    const matrix = await kinds('lt-rt')
    expect(matrix.sources).toMatchObject([{ path: 'lt-rt.wav', kind: 'lt-rt' }])
    expect(matrix.stdout).toContain('taken as lt-rt')
    expect((await kinds('stereo')).sources[0]).not.toHaveProperty('kind')
  })
})
