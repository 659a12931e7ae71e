// The LFE under a line of its own: held below it, read by libebur128, and no word of the other five channels moves.
import { readFileSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { beforeAll, expect, test } from 'vitest'
import { fileFolder, PREPARATION_MS, plimsollMust } from '../testkit/cli.ts'
import { ffmpeg, mixMaster } from '../testkit/cli-programmes.ts'
import { byNumpy, readWavByLibebur128 } from '../testkit/outside.ts'

const folder = fileFolder()
const mix = join(folder, 'mix.wav')
const LFE_LINE_DBTP = -20

/** A user's spec, with the line of the LFE or without. */
function specFile(name: string, line: object): string {
  const path = join(folder, `${name}.json`)
  const loudness = { targetLkfs: -24, toleranceBelowLu: 0.5, toleranceAboveLu: 0.5 }
  const words = { title: 'Harbour Television', purpose: 'Regattas.', edition: '1986' }
  const spec = { specVersion: 1, id: name, ...words, programmeLoudness: loudness, maxTruePeakDbtp: -2, ...line }
  writeFileSync(path, JSON.stringify(spec))
  return path
}

// biome-ignore lint/suspicious/noExplicitAny: a parsed document, looked at by the tests
async function fitted(name: string, line: object): Promise<{ readonly path: string; readonly report: any }> {
  const out = join(folder, name)
  const spec = specFile(name, line)
  const run = await plimsollMust(['deliver', mix, '--spec', spec, '--out', out, '--json'], 0)
  const report = run.json()
  return { path: join(out, report.deliverables[0].path), report }
}

beforeAll(() => {
  const stereo = mixMaster(join(folder, 'stereo.wav'), { musicDb: -24, speechDb: -6, seconds: 32 })
  // A 35 Hz drop of 10 s in the LFE, 12 dB over the line once the programme stands at its target.
  const drop = 'aevalsrc=0.9*sin(2*PI*35*t)*between(t\\,8\\,18):s=48000:d=32'
  const five = 'pan=5.1|FL=FL|FR=FR|FC=0.5*FL+0.5*FR|LFE=0*FL|BL=0.3*FR|BR=0.3*FL'
  const graph = [
    `[0:a]${five},channelsplit=channel_layout=5.1[l][r][c][x][ls][rs]`,
    '[x]anullsink',
    `${drop}[lfe]`,
    '[l][r][c][lfe][ls][rs]join=inputs=6:channel_layout=5.1[o]',
  ].join(';')
  ffmpeg('-i', stereo, '-filter_complex', graph, '-map', '[o]', '-c:a', 'pcm_s24le', mix)
}, PREPARATION_MS)

test(
  'a spec with a line for the LFE: it is met, told and margined, and the other five channels are those of a spec without',
  async () => {
    const free = await fitted('free', {})
    const held = await fitted('held', { maxLfeTruePeakDbtp: LFE_LINE_DBTP })
    const peaks = (path: string) => readWavByLibebur128(path) as unknown as { readonly truePeaks: readonly number[] }
    const lfePeakDbtp = (path: string) => 20 * Math.log10(peaks(path).truePeaks[3] as number)
    expect(lfePeakDbtp(free.path)).toBeGreaterThan(LFE_LINE_DBTP + 12)
    expect(lfePeakDbtp(held.path)).toBeLessThanOrEqual(LFE_LINE_DBTP)
    expect(lfePeakDbtp(held.path)).toBeGreaterThan(LFE_LINE_DBTP - 0.25)
    const { differing } = byNumpy<{ differing: readonly number[] }>('differing_channels', free.path, held.path)
    expect(differing[3]).toBeGreaterThan(100_000)
    expect(differing.filter((_, channel) => channel !== 3)).toEqual([0, 0, 0, 0, 0])
    expect(held.report.alteration.ceiling.lfe.deepestDb).toBeGreaterThan(3)
    expect(free.report.alteration.ceiling.lfe).toMatchObject({ events: 0, deepestDb: 0 })
    const margin = held.report.margins.find(({ line }: { line: string }) => line === 'maxLfeTruePeakDbtp')
    expect(margin).toMatchObject({ limit: LFE_LINE_DBTP, unit: 'dBTP', severity: 'fail' })
    expect(margin.margin).toBeGreaterThanOrEqual(0)
    const plan = JSON.parse(readFileSync(join(folder, 'held', 'plan.json'), 'utf8'))
    expect(plan).toMatchObject({ lfeCeilingDbtp: LFE_LINE_DBTP - 0.1 })
  },
  PREPARATION_MS,
)

test(
  'verify finds an LFE above the line by name',
  async () => {
    const out = join(folder, 'free')
    const run = await plimsollMust(['verify', out, '--spec', join(folder, 'held.json'), '--json'], 1)
    const failed = run.json().findings.filter(({ severity }: { severity: string }) => severity === 'fail')
    expect(failed.map(({ id }: { id: string }) => id)).toEqual(['lfe-true-peak'])
  },
  PREPARATION_MS,
)
