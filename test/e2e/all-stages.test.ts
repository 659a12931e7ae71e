// Low end, bands, static gain, ride and ceiling together: both laws of the fold-down lock, read from outside.
import { readdirSync, readFileSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { beforeAll, describe, expect, test } from 'vitest'
import { deliverySums, fileFolder, PREPARATION_MS, plimsollMust } from '../testkit/cli.ts'
import { mixMaster } from '../testkit/cli-programmes.ts'
import { byNumpy } from '../testkit/outside.ts'

const folder = fileFolder()
const master = join(folder, 'master.wav')

/** Thresholds that the mix passes in each of its bands. */
const BANDS = [
  ['lowEnd', 'manual'],
  ['lowEndThresholdDbfs', -46],
  ['bands', 'manual'],
  ['bandsLowThresholdDbfs', -50],
  ['bandsLowMidThresholdDbfs', -28],
  ['bandsHighMidThresholdDbfs', -32],
  ['bandsHighThresholdDbfs', -60],
].flatMap((setting) => ['--set', setting.join('=')])

/** Of these, what works beside lines on bands. */
const BESIDE_LINES = BANDS.slice(0, 4)

type Delivered = {
  readonly out: string
  readonly file: (end: string) => string
  // biome-ignore lint/suspicious/noExplicitAny: a parsed document, looked at by the tests
  readonly report: any
}

const madeWithLines = new Map<number, Promise<Delivered>>()

async function delivered(
  bits: number,
  name: string,
  settings: readonly string[],
  workers = 2,
  spec = 'ebu-r128-s1',
): Promise<Delivered> {
  const out = join(folder, name)
  const args = ['--spec', spec, '--bits', `${bits}`, '--gain-curve', '--workers', `${workers}`, ...settings]
  const run = await plimsollMust(['deliver', master, '--out', out, '--json', ...args], 0)
  const file = (end: string) => join(out, readdirSync(out).find((each) => each.endsWith(end)) as string)
  return { out, file, report: run.json() }
}

beforeAll(() => {
  const leap = "volume='if(between(t,14,19),1,0.2)':eval=frame"
  mixMaster(master, { music: 'Advanced Simulacra', musicDb: -14, speechDb: -4, seconds: 56, finish: leap })
}, PREPARATION_MS)

describe.each([24, 16])('every stage at work, %i bit', (bits) => {
  let made: Delivered

  beforeAll(async () => {
    made = await delivered(bits, `all-${bits}`, BANDS)
  }, PREPARATION_MS)

  test('every stage acts, and the delivery conforms', () => {
    const { conforms, alteration } = made.report
    expect(conforms).toBe(true)
    expect(alteration.bands.lowEndDeepestDb).toBeGreaterThan(1)
    expect(alteration.multiband.map(({ name }: { name: string }) => name)).toEqual([
      'low',
      'low-mid',
      'high-mid',
      'high',
    ])
    for (const band of alteration.multiband) expect(band.deepestDb).toBeGreaterThan(1)
    expect(alteration.ride.movementDb).toBeGreaterThan(1)
    expect(alteration.ceiling.events).toBeGreaterThan(0)
  })

  test('law A: the stereo is the fold-down of the 5.1, in every sample', () => {
    const read = byNumpy<{ differing: number; bits: number }>('fold', made.file('_51.wav'), made.file('_20.wav'))
    expect(read).toMatchObject({ differing: 0, bits })
    expect(made.report.foldDownLock.state).toBe('closed')
  })

  test('law B: the stereo is the master under the common bands and gains, by SciPy from plan.json', () => {
    const paths = [master, made.file('_20.wav'), made.file('_gain.wav'), made.file('plan.json')]
    const read = byNumpy<{ largest_lsb: number; depths_db: readonly number[] }>('treated', ...paths)
    // At 16 bit the dither of two steps, peak to peak, is on top of rounding.
    expect(read.largest_lsb).toBeLessThanOrEqual(bits === 16 ? 1.5 + 0.05 : 1)
    expect(read.depths_db).toHaveLength(6)
    expect(read.depths_db.filter((depth) => depth > 1)).toHaveLength(5)
  })

  test('one worker and two give the same bytes', async () => {
    const alone = await delivered(bits, `alone-${bits}`, BANDS, 1)
    expect(deliverySums(alone.out)).toEqual(deliverySums(made.out))
  })
})

describe.each([24, 16])(
  'lines of a spec on bands in place of bands by hand, every other stage at work, %i bit',
  (bits) => {
    let made: Delivered

    beforeAll(async () => {
      made = await withLines(bits)
    }, PREPARATION_MS)

    test('every stage acts, and the delivery conforms', () => {
      const { conforms, alteration } = made.report
      expect(conforms).toBe(true)
      expect(alteration.bands.lowEndDeepestDb).toBeGreaterThan(1)
      expect(alteration.bandLines.map(({ line }: { line: string }) => line)).toEqual(['middle', 'low'])
      for (const band of alteration.bandLines) expect(band.deepestDb).toBeGreaterThan(1)
      expect(alteration.ride.movementDb).toBeGreaterThan(1)
      expect(alteration.ceiling.events).toBeGreaterThan(0)
    })

    test('law A: the stereo is the fold-down of the 5.1, in every sample', () => {
      const read = byNumpy<{ differing: number; bits: number }>('fold', made.file('_51.wav'), made.file('_20.wav'))
      expect(read).toMatchObject({ differing: 0, bits })
      expect(made.report.foldDownLock.state).toBe('closed')
    })

    test('law B: the stereo is the master under the common bands and gains, by SciPy from plan.json', () => {
      const paths = [master, made.file('_20.wav'), made.file('_gain.wav'), made.file('plan.json')]
      const read = byNumpy<{ largest_lsb: number; depths_db: readonly number[] }>('treated', ...paths)
      // Every treatment of bands rounds once to single precision, which 12 dB of static gain lift: one more than above.
      expect(read.largest_lsb).toBeLessThanOrEqual(bits === 16 ? 1.5 + 0.05 : 1.25)
      expect(read.depths_db.filter((depth) => depth > 1)).toHaveLength(3)
    })
  },
)

// The search is the same for both lengths of words.
test('lines of a spec on bands: one worker and two give the same bytes', async () => {
  const alone = await delivered(24, 'lines-alone', BESIDE_LINES, 1, spec())
  expect(deliverySums(alone.out)).toEqual(deliverySums((await withLines(24)).out))
})

/** The delivery under lines on bands by two workers, made once. */
function withLines(bits: number): Promise<Delivered> {
  const known = madeWithLines.get(bits) ?? delivered(bits, `lines-${bits}`, BESIDE_LINES, 2, spec())
  madeWithLines.set(bits, known)
  return known
}

/** The lines of EBU R 128 s1, and two on bands that the mix misses. */
function spec(): string {
  const path = join(folder, 'lines.json')
  const words = { title: 'Harbour Television', purpose: 'Regattas.', edition: '1986' }
  const loudness = { targetLkfs: -23, toleranceBelowLu: 0.5, toleranceAboveLu: 0.5 }
  const bandLevels = [
    { id: 'low', toHz: 150, over: 'programme', maxDbfs: -36 },
    { id: 'middle', fromHz: 300, toHz: 3000, maxDbfs: -21 },
  ]
  const lines = { maxTruePeakDbtp: -1, maxShortTermLkfs: -18, bandLevels }
  writeFileSync(path, JSON.stringify({ specVersion: 1, id: 'lines', ...words, programmeLoudness: loudness, ...lines }))
  return path
}

test('bands that are never reached leave every byte of the mix as it is without them', async () => {
  const plain = await delivered(24, 'plain', [])
  const idle = await delivered(24, 'idle', ['--set', 'bands=manual'])
  for (const end of ['_51.wav', '_20.wav']) {
    expect(readFileSync(idle.file(end)).equals(readFileSync(plain.file(end)))).toBe(true)
  }
  expect(idle.report.alteration.multiband).toBeNull()
})
