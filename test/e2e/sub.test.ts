// The LFE under lines of its own: held below them by its own ceiling and ride, read by libebur128 and SciPy, and no word of
// the other five channels moves.
import { existsSync, readFileSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { beforeAll, describe, expect, test } from 'vitest'
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
type Fitted = { readonly path: string; readonly report: any }

/** @param mayLie whether a delivery of that name that lies there already will do */
async function fitted(name: string, line: object, mayLie = false): Promise<Fitted> {
  const out = join(folder, name)
  const spec = specFile(name, line)
  if (mayLie && existsSync(join(out, 'report.json'))) {
    const report = JSON.parse(readFileSync(join(out, 'report.json'), 'utf8'))
    return { path: join(out, report.deliverables[0].path), report }
  }
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

describe("the LFE's own ride", () => {
  type Levels = { readonly shortTerm: number; readonly overFronts: number }
  const levelsOf = (path: string) => byNumpy<Levels>('sub_levels', path)

  // Common practice: a recipient's limit on the sub is its own. No published spec that we know has a number for it.
  test.each([
    ['a line on its short-term level', { maxLfeShortTermDbfs: -28 }, 'shortTerm', 'lfe.maxShortTermDbfs', -28],
    ['a line against the low end of the fronts', { maxLfeOverFrontsDb: 4 }, 'overFronts', 'lfe.overFrontsDb', 4],
  ] as const)(
    '%s: met by SciPy, within 0.3 dB of it, and the other five channels are those of a spec without',
    async (name, line, figure, field, limit) => {
      const free = await fitted('free', {}, true)
      const ridden = await fitted(field.replace('lfe.', '').toLowerCase(), line)
      const [before, after] = [levelsOf(free.path), levelsOf(ridden.path)]
      expect(before[figure], name).toBeGreaterThan(limit + 5)
      expect(after[figure]).toBeLessThanOrEqual(limit)
      expect(after[figure]).toBeGreaterThan(limit - 0.3)
      const { differing } = byNumpy<{ differing: readonly number[] }>('differing_channels', free.path, ridden.path)
      expect(differing[3]).toBeGreaterThan(100_000)
      expect(differing.filter((_, channel) => channel !== 3)).toEqual([0, 0, 0, 0, 0])
      const { alteration, deliverables, margins, passes } = ridden.report
      expect(passes).toBe(free.report.passes)
      const told = deliverables[0].measurements.lfe
      expect(told.maxShortTermDbfs).toBeCloseTo(after.shortTerm, 2)
      if (field === 'lfe.overFrontsDb') expect(told.overFrontsDb).toBeCloseTo(after.overFronts, 1)
      expect(margins.find(({ line: of }: { line: string }) => of === field).margin).toBeGreaterThanOrEqual(0)
      // The setting rideSlewDbPerSecond.
      expect(alteration.lfe.largestSlewDbPerSecond).toBeLessThanOrEqual(3)
      expect(alteration.lfe.largestMoveDb).toBeGreaterThan(5)
      expect(alteration.lfe.touching.map(({ line: of }: { line: string }) => of)).toContain(field)
      expect(alteration.ride).toEqual(free.report.alteration.ride)
    },
    PREPARATION_MS,
  )

  test(
    'is drawn in its corridor and told along the programme as NumPy finds it between the words of two deliveries',
    async () => {
      const free = await fitted('free', {}, true)
      const ridden = await fitted('maxshorttermdbfs', { maxLfeShortTermDbfs: -28 }, true)
      const { lfeRideDb, lfeCorridorDb, rideDb, columnSeconds } = ridden.report.alteration.overTime
      expect(free.report.alteration.overTime).toMatchObject({ lfeRideDb: null, lfeCorridorDb: null })
      const found = byNumpy<readonly (number | null)[]>('lfe_gains', free.path, ridden.path, columnSeconds)
      const heard = found.flatMap((gainDb, column) => (gainDb === null ? [] : [{ gainDb, column }]))
      // The drop lies at 8 to 18 s; at its ends half a column may be silent.
      const inside = heard.filter(({ column }) => column * columnSeconds > 8.3 && column * columnSeconds < 17.5)
      expect(inside.length).toBeGreaterThan(5 / columnSeconds)
      // The drawn curve has the lowest point of its column.
      for (const { gainDb, column } of inside) expect(Math.abs(lfeRideDb[column] - gainDb)).toBeLessThan(0.35)
      expect(Math.min(...lfeRideDb)).toBeCloseTo(-ridden.report.alteration.lfe.largestMoveDb, 1)
      for (const [column, db] of lfeRideDb.entries()) {
        expect(db).toBeGreaterThanOrEqual(lfeCorridorDb.lowest[column] - 0.01)
        expect(db).toBeLessThanOrEqual(lfeCorridorDb.highest[column] + 0.01)
      }
      expect(rideDb).toBeNull()
      const page = (name: string) => readFileSync(join(folder, name, 'report.html'), 'utf8')
      const says = (name: string) =>
        ['>the LFE<', 'Ride of the LFE, in dB beside the other channels'].map((words) => page(name).includes(words))
      expect(says('maxshorttermdbfs')).toEqual([true, true])
      expect(says('free')).toEqual([false, false])
    },
    PREPARATION_MS,
  )

  test(
    'an LFE that keeps its lines is not touched',
    async () => {
      const free = await fitted('free', {}, true)
      const met = await fitted('met', { maxLfeShortTermDbfs: -3, maxLfeOverFrontsDb: 36 })
      expect(readFileSync(met.path).equals(readFileSync(free.path))).toBe(true)
      expect(met.report.alteration.lfe).toBeNull()
    },
    PREPARATION_MS,
  )

  test(
    'verify finds an LFE above either line, and where',
    async () => {
      const spec = specFile('both', { maxLfeShortTermDbfs: -28, maxLfeOverFrontsDb: 4 })
      const run = await plimsollMust(['verify', join(folder, 'free'), '--spec', spec, '--json'], 1)
      const failed = run.json().findings.filter(({ severity }: { severity: string }) => severity === 'fail')
      expect(failed.map(({ id }: { id: string }) => id)).toEqual(['lfe-short-term', 'lfe-over-fronts'])
      // The drop lies at 8 to 18 s.
      for (const { at } of failed) {
        expect(at.startSeconds).toBeGreaterThanOrEqual(8)
        expect(at.endSeconds).toBeLessThanOrEqual(18.2)
      }
    },
    PREPARATION_MS,
  )

  test(
    'a lock that forbids it: nothing is delivered, and the place is named',
    async () => {
      const sheet = join(folder, 'locked.sheet.json')
      const lock = { from: '0:00:09.000', to: '0:00:12.000', toleranceDb: 1 }
      const title = { id: 'regatta', name: 'Regatta' }
      const sources = [{ path: 'mix.wav', role: 'programme', layout: '5.1' }]
      writeFileSync(sheet, JSON.stringify({ sheetVersion: 1, title, sources, fit: { locks: [lock] } }))
      const spec = specFile('line', { maxLfeShortTermDbfs: -28 })
      const out = join(folder, 'locked')
      const run = await plimsollMust(['deliver', sheet, '--spec', spec, '--out', out, '--json'], 1)
      const held = run.json().findings.find(({ id }: { id: string }) => id === 'lfe-held-by-lock')
      expect(held).toMatchObject({ severity: 'fail', line: 'lfe.maxShortTermDbfs' })
      expect(held.at.startSeconds).toBeGreaterThanOrEqual(8)
      expect(held.at.startSeconds).toBeLessThan(13)
      expect(run.json().deliverables).toEqual([])
    },
    PREPARATION_MS,
  )
})

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
