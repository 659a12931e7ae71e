// Channels limited by themselves: the lock stays closed, the ceiling holds on other meters, and what it costs the fronts is
// told as NumPy finds it.
import { readdirSync, readFileSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { beforeAll, describe, expect, test } from 'vitest'
import { deliverySums, fileFolder, PREPARATION_MS, plimsollMust } from '../testkit/cli.ts'
import { ffmpeg, mixMaster } from '../testkit/cli-programmes.ts'
import { byNumpy, readWavByLibebur128 } from '../testkit/outside.ts'

const folder = fileFolder()
const master = join(folder, 'master.wav')
const CEILING_DBTP = -9

function specFile(): string {
  const path = join(folder, 'spec.json')
  const programmeLoudness = { targetLkfs: -21, toleranceBelowLu: 1, toleranceAboveLu: 1 }
  const named = { specVersion: 1, id: 'harbour', title: 'Harbour Television', purpose: 'Regattas.', edition: '1986' }
  writeFileSync(path, JSON.stringify({ ...named, programmeLoudness, maxTruePeakDbtp: CEILING_DBTP }))
  return path
}

const loudestDbtp = (path: string) => {
  const { truePeaks } = readWavByLibebur128(path) as unknown as { readonly truePeaks: readonly number[] }
  return 20 * Math.log10(Math.max(...truePeaks))
}

describe('an upmix', () => {
  const made = async (name: string, settings: readonly string[]) => {
    const out = join(folder, name)
    const set = settings.flatMap((setting) => ['--set', setting])
    const run = await plimsollMust(
      ['deliver', master, '--spec', specFile(), '--out', out, '--gain-curve', '--json', ...set],
      0,
    )
    const file = (end: string) => join(out, readdirSync(out).find((each) => each.endsWith(end)) as string)
    return { out, file, report: run.json() }
  }

  beforeAll(() => {
    mixMaster(master, { music: 'Advanced Simulacra', musicDb: -12, speechDb: 2, seconds: 30 })
  }, PREPARATION_MS)

  test.each(['groups', 'none'])(
    'ceilingLink=%s',
    async (link) => {
      const { file, report } = await made(link, [`ceilingLink=${link}`])
      // ITU-R BS.775-4 Table 2: law A, by NumPy.
      const { differing, frames } = byNumpy<{ differing: number; frames: number }>(
        'fold',
        file('_51.wav'),
        file('_20.wav'),
      )
      expect({ differing, frames }).toEqual({ differing: 0, frames: 30 * 48000 })
      expect(report.foldDownLock.state).toBe('closed')
      // Law B: the stereo is the master under the gain that was written, within a step of 24 bits.
      const { largest_lsb } = byNumpy<{ largest_lsb: number }>('curve', master, file('_20.wav'), file('_gain.wav'))
      expect(largest_lsb).toBeLessThanOrEqual(1)
      const loudest = Math.max(loudestDbtp(file('_51.wav')), loudestDbtp(file('_20.wav')))
      expect(loudest).toBeLessThanOrEqual(CEILING_DBTP)
      expect(loudest).toBeGreaterThan(CEILING_DBTP - 0.3)
      const { groups, frontResidue } = report.alteration.ceiling
      expect(groups.map(({ name }: { name: string }) => name)).toContain('C')
      for (const { deepestDb } of groups) expect(deepestDb).toBeLessThanOrEqual(1.0001)
      expect(report.findings.filter(({ id }: { id: string }) => id === 'front-residue')).toHaveLength(1)
      const upmixed = join(folder, 'upmixed.wav')
      await plimsollMust(['upmix', master, upmixed, '--gain', '-6', '--replace'], 0)
      const outside = byNumpy<{ besideFrontsDb: number; peakDbfs: number }>(
        'front_residue',
        upmixed,
        file('_51.wav'),
        file('_gain.wav'),
        -6,
      )
      expect(Math.abs(frontResidue.besideFrontsDb - outside.besideFrontsDb)).toBeLessThan(1)
      expect(Math.abs(frontResidue.peakDbfs - outside.peakDbfs)).toBeLessThan(1)
    },
    PREPARATION_MS,
  )

  test(
    'all linked leaves nothing; a ceiling that nothing comes near changes no byte, whatever the link',
    async () => {
      const { report } = await made('all', [])
      expect(report.alteration.ceiling).toMatchObject({ groups: [], frontResidue: null })
      const quiet = join(folder, 'quiet.wav')
      ffmpeg('-i', master, '-af', 'volume=-12dB', '-c:a', 'pcm_s24le', quiet)
      const words = (out: string) => ['deliver', quiet, '--spec', 'atsc-a85-short', '--out', out]
      await plimsollMust(words(join(folder, 'idle-all')), 0)
      await plimsollMust([...words(join(folder, 'idle-groups')), '--set', 'ceilingLink=groups'], 0)
      const audio = (out: string) =>
        readdirSync(out)
          .filter((name) => name.endsWith('.wav'))
          .map((name) => readFileSync(join(out, name)))
      const [one, other] = [audio(join(folder, 'idle-all')), audio(join(folder, 'idle-groups'))]
      expect(one).toHaveLength(2)
      for (const [index, bytes] of one.entries()) expect(bytes.equals(other[index] as Buffer)).toBe(true)
    },
    PREPARATION_MS,
  )

  test(
    'one worker and two make the same bytes',
    async () => {
      const again = join(folder, 'again')
      const words = ['deliver', master, '--spec', specFile(), '--out', again, '--gain-curve', '--workers', '1']
      await plimsollMust([...words, '--set', 'ceilingLink=groups'], 0)
      expect(deliverySums(again)).toEqual(deliverySums(join(folder, 'groups')))
    },
    PREPARATION_MS,
  )
})

// Common practice: hits in the surrounds should not duck the dialogue in C.
test(
  'a 5.1 with hits in the surrounds less than 1 dB over the ceiling: C stays as it is, where all linked it is ducked',
  async () => {
    const mix = join(folder, 'hits.wav')
    const hit = 'aevalsrc=0.62*sin(2*PI*900*t)*lt(mod(t\\,6)\\,0.003):s=48000:d=20'
    const graph = [
      '[0:a]pan=5.1|FL=0.2*FL|FR=0.2*FR|FC=0.35*FL+0.35*FR|LFE=0*FL|BL=0*FL|BR=0*FR,channelsplit=channel_layout=5.1[l][r][c][x][a][b]',
      '[a]anullsink',
      `${hit},asplit[ls][rs]`,
      '[b]anullsink',
      '[l][r][c][x][ls][rs]join=inputs=6:channel_layout=5.1[o]',
    ].join(';')
    const speech = mixMaster(join(folder, 'speech.wav'), { musicDb: -40, speechDb: -8, seconds: 20 })
    ffmpeg('-i', speech, '-filter_complex', graph, '-map', '[o]', '-c:a', 'pcm_s24le', mix)
    const { samplePeakDbfs, programmeLoudnessLkfs } = (await plimsollMust(['measure', mix, '--json'], 0)).json()
      .files[0]
    const spec = join(folder, 'hits.json')
    const named = { specVersion: 1, id: 'hits', title: 'Harbour Television', purpose: 'Regattas.', edition: '1986' }
    const target = Math.round(programmeLoudnessLkfs * 10) / 10 - 3
    const programmeLoudness = { targetLkfs: target, toleranceBelowLu: 1, toleranceAboveLu: 1 }
    const maxTruePeakDbtp = samplePeakDbfs - 3 - 0.4
    writeFileSync(spec, JSON.stringify({ ...named, programmeLoudness, maxTruePeakDbtp }))
    const moved: Record<string, readonly number[]> = {}
    for (const link of ['all', 'groups', 'none']) {
      const out = join(folder, `${link}.wav`)
      const words = ['fit', mix, out, '--spec', spec, '--json', '--set', `ceilingLink=${link}`]
      const { alteration } = (await plimsollMust(words, 0)).json()
      expect(alteration.ceiling.frontResidue).toBeNull()
      expect(loudestDbtp(out)).toBeLessThanOrEqual(maxTruePeakDbtp)
      const { staticGainDb } = alteration.total
      moved[link] = byNumpy<{ moved: readonly number[] }>('moved_channels', out, mix, staticGainDb).moved
    }
    const [, , centre, , leftSurround] = moved.all as readonly number[]
    expect(centre).toBeGreaterThan(1000)
    expect(leftSurround).toBeGreaterThan(100)
    for (const link of ['groups', 'none']) {
      const [left, right, middle, , ls, rs] = moved[link] as readonly number[]
      expect([left, right, middle], link).toEqual([0, 0, 0])
      expect(Math.min(ls as number, rs as number)).toBeGreaterThan(100)
    }
  },
  PREPARATION_MS,
)
