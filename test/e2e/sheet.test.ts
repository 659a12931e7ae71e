// Sheets, segments, reels and seasons through the built command, held against libebur128 and FFmpeg.
import { readFileSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { beforeAll, describe, expect, test } from 'vitest'
import { deliveryDocument, measureDocument, readSheetFile } from '../../src/protocol/index.ts'
import { deliverySums, fileFolder, ownFolder, PREPARATION_MS, plimsoll, plimsollMust } from '../testkit/cli.ts'
import { ffmpeg, mixMaster } from '../testkit/cli-programmes.ts'
import {
  framesOf,
  type Piece,
  readTogetherByLibebur128,
  readWavByLibebur128,
  sha256,
  wavShape,
  wholePiece,
} from '../testkit/outside.ts'

const folder = fileFolder()
const at = (name: string) => join(folder, name)
const RATE_HZ = 48000
const MASTER = at('saltmarsh-103-master.wav')

/** The master: 10 s of tone near full scale, 5 s of silence, an act of 20 s, a break of 4 s, an act of 16 s. */
const ACTS = [
  { name: 'act 1', from: '10:00:00:00', to: '10:00:20:00', startFrame: 15 * RATE_HZ, endFrame: 35 * RATE_HZ },
  { name: 'act 2', from: '10:00:24:00', to: '10:00:40:00', startFrame: 39 * RATE_HZ, endFrame: 55 * RATE_HZ },
] as const
const MAP = [
  { kind: 'tone', from: '09:59:45:00', to: '09:59:55:00' },
  ...ACTS.map(({ name, from, to }) => ({ kind: 'programme', name, from, to })),
  { kind: 'break', from: '10:00:20:00', to: '10:00:24:00' },
]
const OUTSIDE = [
  [0, 15],
  [35, 39],
  [55, 56],
].map(([from, to]) => ({ startFrame: (from as number) * RATE_HZ, endFrame: (to as number) * RATE_HZ }))

/** The generator's tone has an amplitude of 1/8: 17.9 dB more bring it to 0.16 dB below full scale. */
const TONE = 'volume=17.9dB,aformat=channel_layouts=stereo'

const actsOf = (path: string): Piece[] => ACTS.map(({ startFrame, endFrame }) => ({ path, startFrame, endFrame }))

/** Writes a sheet for the master, with what a test changes in it. Gives its path. */
function sheet(name: string, change: object = {}): string {
  const file = {
    sheetVersion: 1,
    title: { id: 'saltmarsh-lane-103', name: 'Saltmarsh Lane, episode 3', deliveredOn: '1986-04-11' },
    timecode: { rate: '25', start: '09:59:45:00' },
    sources: [{ path: 'saltmarsh-103-master.wav', sha256: sha256(MASTER).slice(0, 12) }],
    segments: MAP,
    spec: { id: 'ebu-r128' },
    ...change,
  }
  writeFileSync(at(name), JSON.stringify(file))
  return at(name)
}

beforeAll(() => {
  mixMaster(at('act-1.wav'), { musicDb: -20, speechDb: -6, seconds: 20 })
  mixMaster(at('act-2.wav'), { fromSeconds: 90, seconds: 16, musicDb: -24, speechDb: -9 })
  const silence = (seconds: number) => ['-f', 'lavfi', '-t', `${seconds}`, '-i', 'anullsrc=r=48000:cl=stereo']
  const exactly = [10, 5, 20, 4, 16, 1].map((seconds, input) => `apad,atrim=end_sample=${seconds * RATE_HZ}[p${input}]`)
  const parts = exactly.map((cut, input) => (input === 0 ? `[0]${TONE},${cut}` : `[${input}]${cut}`))
  ffmpeg(
    ...['-f', 'lavfi', '-i', 'sine=frequency=1000:sample_rate=48000:duration=10'],
    ...[...silence(5), '-i', at('act-1.wav'), ...silence(4), '-i', at('act-2.wav'), ...silence(1)],
    ...['-filter_complex', `${parts.join(';')};[p0][p1][p2][p3][p4][p5]concat=n=6:v=0:a=1[o]`],
    ...['-map', '[o]', '-c:a', 'pcm_s24le', MASTER],
  )
  expect(wavShape(MASTER).frameCount).toBe(56 * RATE_HZ)
}, PREPARATION_MS)

describe('measure of a sheet', () => {
  test('only programme is measured: together and each act as libebur128 reads them', async () => {
    const run = await plimsollMust(['measure', sheet('map.json'), '--json'], 1)
    const document = run.json()
    expect(measureDocument.parse(document)).toEqual(document)
    const [file] = document.files
    const together = readTogetherByLibebur128(actsOf(MASTER))
    expect(Math.abs(file.programmeLoudnessLkfs - together.programmeLoudnessLkfs)).toBeLessThan(0.001)
    // The library ranks a window a second, EBU Tech 3342 asks for ten: few windows in a minute leave some tenths.
    expect(Math.abs(file.loudnessRangeLu - together.loudnessRangeLu)).toBeLessThan(0.4)
    expect(file.segments.map(({ name, timecode }: { name: string; timecode: string }) => [name, timecode])).toEqual(
      ACTS.map(({ name, from }) => [name, from]),
    )
    for (const [index, piece] of actsOf(MASTER).entries()) {
      const alone = readTogetherByLibebur128([piece]).programmeLoudnessLkfs
      expect(Math.abs(file.segments[index].programmeLoudnessLkfs - alone)).toBeLessThan(0.001)
    }
    // The tone, 0.2 dB below full scale, has no say.
    expect(file.maxTruePeakDbtp).toBeLessThan(-1)
    const note = file.findings.find(({ id }: { id: string }) => id === 'programme-segments')
    expect(note.message).toContain('tone 09:59:45:00 to 09:59:55:00')
    expect(note.message).toContain('break 10:00:20:00 to 10:00:24:00')
    expect(file.findings.some(({ id }: { id: string }) => id === 'break-not-silent')).toBe(false)
  })

  test('a break that is not silent is named with its place', async () => {
    const segments = [
      { kind: 'programme', from: '10:00:00:00', to: '10:00:10:00' },
      { kind: 'break', from: '10:00:10:00', to: '10:00:24:00' },
    ]
    const run = await plimsoll(['measure', sheet('loud-break.json', { segments }), '--json'])
    const found = run.json().files[0].findings.find(({ id }: { id: string }) => id === 'break-not-silent')
    expect(found).toMatchObject({ severity: 'warn', unit: 'dBFS', at: { startSeconds: 25, endSeconds: 39 } })
    expect(found.measured).toBeGreaterThan(-30)
  })

  test('without a sheet the map that is found in the sound can be taken: tone and silence stay out', async () => {
    const run = await plimsoll(['measure', MASTER, '--segments', 'auto', '--json'])
    const [file] = run.json().files
    const together = readTogetherByLibebur128(actsOf(MASTER)).programmeLoudnessLkfs
    expect(Math.abs(file.programmeLoudnessLkfs - together)).toBeLessThan(0.05)
    expect(file.findings.find(({ id }: { id: string }) => id === 'programme-segments').message).toMatch(
      /By the sound.*tone/,
    )
  })

  test('a waived line is a note with its reason; the numbers of the sheet count, and nothing else is waived', async () => {
    const override = { targetLkfs: -20, toleranceBelowLu: 9, toleranceAboveLu: 9, maxShortTermLkfs: -40 }
    const waivers = [{ line: 'maxShortTermLkfs', reason: 'agreed with the broadcaster' }]
    const strict = sheet('strict.json', { spec: { id: 'ebu-r128', override } })
    const lenient = sheet('lenient.json', { spec: { id: 'ebu-r128', override }, waivers })
    expect((await plimsollMust(['measure', strict, '--json'], 1)).json().files[0].findings).toContainEqual(
      expect.objectContaining({ id: 'short-term', severity: 'fail', allowed: -40 }),
    )
    const waived = (await plimsollMust(['measure', lenient, '--json'], 0)).json().files[0].findings
    expect(waived).toContainEqual(
      expect.objectContaining({
        id: 'short-term',
        severity: 'note',
        message: expect.stringMatching(/Waived: agreed with the broadcaster[.]$/),
      }),
    )
  })
})

describe('trims of a sheet', () => {
  const trims = [
    { from: '10:00:03:00', to: '10:00:11:12', gainDb: -4.5, glideMs: 400 },
    { from: '10:00:24:00', to: '10:00:40:00', gainDb: -1.5 },
  ]
  const change = { fit: { trims, settings: { stages: 'trims' } } }

  async function renderedWithTrims(path: string): Promise<string> {
    const out = ownFolder()
    await plimsollMust(['fit', path, join(out, 'rendered.wav'), '--keep-nonconforming', '--quiet'], 1)
    return join(out, 'rendered_nonconforming.wav')
  }

  test('are in what measure and passages say, as libebur128 reads the file that is rendered with them', async () => {
    const path = sheet('trims.json', change)
    const rendered = await renderedWithTrims(path)
    const [heard, asItIs] = [rendered, MASTER].map((file) => readTogetherByLibebur128(actsOf(file)))
    const [file] = (await plimsollMust(['measure', path, '--json'], 1)).json().files
    const passages = (await plimsollMust(['passages', path, '--no-speech', '--json'], 1)).json()
    expect(Math.abs((heard?.programmeLoudnessLkfs ?? 0) - (asItIs?.programmeLoudnessLkfs ?? 0))).toBeGreaterThan(0.5)
    for (const document of [file, passages]) {
      expect(document.programmeLoudnessLkfs).toBeCloseTo(heard?.programmeLoudnessLkfs ?? 0, 3)
      expect(document.withoutTrims.programmeLoudnessLkfs).toBeCloseTo(asItIs?.programmeLoudnessLkfs ?? 0, 3)
      expect(document.findings).toContainEqual(expect.objectContaining({ id: 'trims-counted', measured: 2 }))
    }
    for (const [index, piece] of actsOf(rendered).entries()) {
      const act = readTogetherByLibebur128([piece])
      expect(file.segments[index].programmeLoudnessLkfs).toBeCloseTo(act.programmeLoudnessLkfs, 3)
    }
  })

  test('peaks too: a trimmed master without a map reads as the rendered file does', async () => {
    const path = sheet('trims-whole.json', { ...change, segments: [] })
    const rendered = await renderedWithTrims(path)
    const [file] = (await plimsollMust(['measure', path, '--no-speech', '--leq-m', '--json'], 1)).json().files
    const outside = readWavByLibebur128(rendered, 'full')
    expect(file.programmeLoudnessLkfs).toBeCloseTo(outside.programmeLoudnessLkfs, 3)
    expect(file.maxShortTermLkfs).toBeCloseTo(outside.maxShortTermLkfs ?? 0, 2)
    const [again] = (await plimsollMust(['measure', rendered, '--no-speech', '--leq-m', '--json'], 0)).json().files
    for (const figure of ['loudnessRangeLu', 'maxMomentaryLkfs', 'maxTruePeakDbtp', 'samplePeakDbfs', 'leqMDb']) {
      expect(file[figure], figure).toBeCloseTo(again[figure], 3)
    }
  })

  test('a sheet without trims says nothing of them', async () => {
    const [file] = (await plimsollMust(['measure', sheet('untrimmed.json'), '--no-speech', '--json'], 1)).json().files
    expect(file.withoutTrims).toBeNull()
    expect(file.findings.some(({ id }: { id: string }) => id === 'trims-counted')).toBe(false)
  })
})

describe('passages of a sheet', () => {
  test('point at the programme alone, and their trims are added to the sheet', async () => {
    const trims = [{ from: '10:00:01:00', to: '10:00:02:00', gainDb: -1 }]
    const override = { targetLkfs: -23, toleranceBelowLu: 9, toleranceAboveLu: 9, maxShortTermLkfs: -25 }
    const path = sheet('passages.json', { fit: { trims }, spec: { id: 'ebu-r128', override } })
    const written = join(ownFolder(), 'trimmed.json')
    const { passages } = (await plimsollMust(['passages', path, '--sheet', written, '--json'], 1)).json()
    expect(passages.length).toBeGreaterThan(0)
    for (const { startFrame, endFrame } of passages) {
      expect(ACTS.some((act) => startFrame >= act.startFrame && endFrame <= act.endFrame)).toBe(true)
    }
    const { sheet: suggested } = readSheetFile(JSON.parse(readFileSync(written, 'utf8')))
    expect(suggested?.fit.trims[0]).toMatchObject(trims[0] as object)
    expect(suggested?.segments).toHaveLength(MAP.length)
    await plimsollMust(['sheet', 'check', written], 0)
  })
})

describe('deliver of a sheet', () => {
  const change = {
    fit: {
      settings: { stereoGain: 'linked', anchor: '5.1' },
      trims: [{ from: '10:00:05:00', to: '10:00:12:00', gainDb: -4 }],
    },
    spec: { id: 'atsc-a85-short' },
    deliverables: [{ role: 'lo-ro', name: 'two-track-{id}.wav' }, { role: 'mix-5.1' }],
  }

  test('fits the acts together and leaves everything else as it is, bit for bit', async () => {
    const out = join(ownFolder(), 'out')
    const run = await plimsollMust(['deliver', sheet('deliver.json', change), '--out', out, '--json'], 0)
    const document = run.json()
    expect(deliveryDocument.parse(document)).toEqual(document)
    expect(document.title).toEqual({ id: 'saltmarsh-lane-103', name: 'Saltmarsh Lane, episode 3' })
    expect(document.source.originatedOn).toBe('1986-04-11')
    expect(document.alteration.trims).toEqual([{ startSeconds: 20, endSeconds: 27, gainDb: -4, reason: null }])
    const stereo = join(out, 'two-track-saltmarsh-lane-103.wav')
    const mix = join(out, 'saltmarsh-lane-103_51.wav')
    // ATSC A/85:2013: -24 LKFS.
    expect(Math.abs(readTogetherByLibebur128(actsOf(mix)).programmeLoudnessLkfs + 24)).toBeLessThan(0.1)
    for (const stretch of OUTSIDE) {
      expect(framesOf({ path: stereo, ...stretch }).equals(framesOf({ path: MASTER, ...stretch }))).toBe(true)
    }
    expect(framesOf({ path: stereo, ...ACTS[0] }).equals(framesOf({ path: MASTER, ...ACTS[0] }))).toBe(false)
    // Who checks the delivery finds in it what is programme.
    const verified = await plimsollMust(['verify', out, '--spec', 'atsc-a85-short', '--json'], 0)
    expect(verified.json().findings.some(({ id }: { id: string }) => id === 'programme-segments')).toBe(true)
  })

  test('a hand ride is heard as it was drawn, a limit moves the ride, and the fit lands around them', async () => {
    const at = (second: number) => `10:00:${second.toString().padStart(2, '0')}:00`
    const points = [
      { at: at(3), gainDb: 0 },
      { at: at(4), gainDb: -6 },
      { at: at(8), gainDb: -6 },
      { at: at(9), gainDb: 0 },
    ]
    const fit = {
      settings: change.fit.settings,
      handRides: [{ from: at(3), to: at(9), points, reason: 'the mixer came in late' }],
      limits: [{ from: at(28), to: at(34), lowestDb: -3, highestDb: -3 }],
    }
    const out = join(ownFolder(), 'out')
    const run = await plimsollMust(['deliver', sheet('hand.json', { ...change, fit }), '--out', out, '--json'], 0)
    const reason = 'hand ride from −6.0 to 0.0 dB: the mixer came in late'
    expect(run.json().alteration.trims).toEqual([{ startSeconds: 18, endSeconds: 24, gainDb: -6, reason }])
    const path = join(out, 'two-track-saltmarsh-lane-103.wav')
    expect(
      Math.abs(readTogetherByLibebur128(actsOf(join(out, 'saltmarsh-lane-103_51.wav'))).programmeLoudnessLkfs + 24),
    ).toBeLessThan(0.1)
    // Oracle: libebur128 on the same seconds of the delivered stereo and of the master.
    const gainOf = (fromSeconds: number, toSeconds: number) => {
      const stretch = { startFrame: (15 + fromSeconds) * RATE_HZ, endFrame: (15 + toSeconds) * RATE_HZ }
      const read = (file: string) => readTogetherByLibebur128([{ path: file, ...stretch }]).programmeLoudnessLkfs
      return read(path) - read(MASTER)
    }
    const home = gainOf(13, 18)
    expect(gainOf(5, 7) - home).toBeCloseTo(-6, 2)
    expect(gainOf(29, 33) - home).toBeCloseTo(-3, 2)
  })

  test('the same sheet gives the same bytes with one worker and with two', async () => {
    const [one, two] = ['1', '2'].map((workers) => ({ workers, out: join(ownFolder(), 'out') })) as [Made, Made]
    for (const { workers, out } of [one, two]) {
      await plimsollMust(['deliver', sheet('deliver.json', change), '--out', out, '--workers', workers, '--quiet'], 0)
    }
    expect(deliverySums(one.out)).toEqual(deliverySums(two.out))
  })

  type Made = { readonly workers: string; readonly out: string }

  test('a spec on the command line outranks that of the sheet, waivers included', async () => {
    const waivers = [{ line: 'programmeLoudnessLkfs', reason: 'agreed' }]
    const path = sheet('outranked.json', { waivers, fit: { settings: { stages: 'trims' } } })
    const out = ownFolder()
    await plimsollMust(['fit', path, join(out, 'a.wav'), '--quiet'], 0)
    await plimsollMust(['fit', path, join(out, 'b.wav'), '--spec', 'ebu-r128', '--quiet'], 1)
  })
})

describe('trims by themselves', () => {
  const trimmed = join(folder, 'trimmed_nonconforming.wav')

  beforeAll(async () => {
    const trims = ['0:00:05.000 0:00:09.000 -5', '0:00:13.000 0:00:16.000 2.5'].flatMap((words) => ['--trim', words])
    const alone = ['--set', 'stages=trims', '--keep-nonconforming', '--quiet']
    await plimsoll(['fit', at('act-1.wav'), at('trimmed.wav'), '--spec', 'ebu-r128', ...trims, ...alone])
  })

  test('read as libebur128 reads what FFmpeg makes of the same gains, within 0.01 LU', () => {
    const gains = "volume='if(between(t,5,9),0.56234133,if(between(t,13,16),1.33352143,1))':eval=frame"
    ffmpeg('-i', at('act-1.wav'), '-af', `asetnsamples=480,${gains}`, '-c:a', 'pcm_s24le', at('by-ffmpeg.wav'))
    const [ours, others, before] = [trimmed, at('by-ffmpeg.wav'), at('act-1.wav')].map(
      (path) => readWavByLibebur128(path).programmeLoudnessLkfs,
    ) as [number, number, number]
    expect(Math.abs(ours - others)).toBeLessThan(0.01)
    expect(Math.abs(ours - before)).toBeGreaterThan(0.2)
  })

  test('leave every frame alone that they do not reach', () => {
    // A glide of 100 ms, centred on each border.
    const untouched = [
      [0, 4.95],
      [9.05, 12.95],
      [16.05, 20],
    ].map(([from, to]) => ({ startFrame: (from as number) * RATE_HZ, endFrame: (to as number) * RATE_HZ }))
    for (const stretch of untouched) {
      const source = framesOf({ path: at('act-1.wav'), ...stretch })
      expect(framesOf({ path: trimmed, ...stretch }).equals(source)).toBe(true)
    }
  })

  test('that would pass full scale fail and say so', async () => {
    const loud = ['--trim', '0:00:05.000 0:00:10.000 24', '--set', 'stages=trims']
    const run = await plimsollMust(['fit', at('act-1.wav'), at('loud.wav'), '--spec', 'ebu-r128', ...loud, '--json'], 1)
    const clipped = run.json().findings.find(({ id }: { id: string }) => id === 'clipped-samples')
    expect(clipped).toMatchObject({ severity: 'fail', allowed: 0 })
    expect(clipped.measured).toBeGreaterThan(0)
  })
})

describe('reels', () => {
  const reels = [at('act-1.wav'), at('act-2.wav')]

  test('are measured as one programme with one gate over the blocks of all', async () => {
    const [file] = (await plimsollMust(['measure', ...reels, '--as-one', '--json'], 0)).json().files
    const together = readTogetherByLibebur128(reels.map(wholePiece))
    expect(Math.abs(file.programmeLoudnessLkfs - together.programmeLoudnessLkfs)).toBeLessThan(0.001)
    const peaks = reels.map((path) => readWavByLibebur128(path).maxTruePeakDbtp)
    expect(Math.abs(file.maxTruePeakDbtp - Math.max(...peaks))).toBeLessThan(0.1)
    const frames = reels.map((path) => wavShape(path).frameCount) as [number, number]
    expect(file.frameCount).toBe(frames[0] + frames[1])
    expect(file.reels.map(({ startSeconds }: { startSeconds: number }) => startSeconds)).toEqual([
      0,
      frames[0] / RATE_HZ,
    ])
    for (const [index, path] of reels.entries()) {
      const alone = readWavByLibebur128(path).programmeLoudnessLkfs
      expect(Math.abs(file.reels[index].programmeLoudnessLkfs - alone)).toBeLessThan(0.001)
    }
  })

  test('of a sheet become one file, frame after frame', async () => {
    const path = sheet('reels.json', {
      sources: [{ path: 'act-1.wav' }, { path: 'act-2.wav' }],
      segments: [],
      fit: { settings: { stages: 'trims' } },
    })
    await plimsollMust(['fit', path, at('joined.wav'), '--keep-nonconforming', '--quiet'], 1)
    const joined = framesOf(wholePiece(at('joined_nonconforming.wav')))
    expect(joined.equals(Buffer.concat(reels.map((reel) => framesOf(wholePiece(reel)))))).toBe(true)
  })
})

describe('a season', () => {
  const titles = ['101', '102', '103', '104', '105'].map((name) => at(`${name}.wav`))
  const louder = titles[3] as string

  beforeAll(() => {
    for (const [index, path] of titles.entries()) {
      const gainDb = path === louder ? 4 : [0, 0.2, -0.1, 0, 0.1][index]
      ffmpeg('-i', at('act-2.wav'), '-af', `volume=${gainDb}dB`, '-c:a', 'pcm_s24le', path)
    }
  })

  test('stands in a table, and the title that stands out is named', async () => {
    const csv = join(ownFolder(), 'season.csv')
    const run = await plimsollMust(['measure', ...titles, '--season', csv, '--json'], 0)
    const document = run.json()
    expect(measureDocument.parse(document)).toEqual(document)
    type Row = { path: string; programmeLoudnessLkfs: { deviation: number; isOutlier: boolean } }
    const outliers = document.season.titles.filter(({ programmeLoudnessLkfs }: Row) => programmeLoudnessLkfs.isOutlier)
    expect(outliers.map(({ path }: Row) => path)).toEqual([louder])
    const rows = readFileSync(csv, 'utf8').split('\r\n')
    expect(rows).toHaveLength(titles.length + 3)
    // 4 dB against a median 0.1 dB above the unchanged title.
    expect(rows[4]).toMatch(/104[.]wav,-?\d+[.]\d\d,3[.]90,.*programmeLoudnessLkfs/)
    const text = (await plimsollMust(['measure', ...titles], 0)).stdout
    expect(text).toMatch(/104[.]wav .*stands out: .*LKFS [+]3[.]9/)
  })

  test('is measured a file a worker with the same figures, and a bad file costs the others nothing', async () => {
    writeFileSync(at('bad.wav'), 'no audio')
    const all = [titles[0] as string, at('bad.wav'), ...titles.slice(1)]
    const [one, two] = await Promise.all(
      ['1', '2'].map((workers) => plimsollMust(['measure', ...all, '--workers', workers, '--json'], 2)),
    )
    expect(two?.stdout).toBe(one?.stdout)
    expect(one?.json().files).toHaveLength(titles.length)
    expect(one?.json().refused).toMatchObject([{ path: at('bad.wav') }])
  })
})

describe('the sheet command', () => {
  test('writes a sheet with the map that it hears, which checks and measures', async () => {
    const path = at('new.json')
    const words = ['--timecode-rate', '25', '--timecode-start', '09:59:45:00', '--spec', 'ebu-r128']
    await plimsollMust(['sheet', 'new', MASTER, '--out', path, ...words, '--quiet'], 0)
    const { sheet: written } = readSheetFile(JSON.parse(readFileSync(path, 'utf8')))
    expect(written?.sources).toMatchObject([{ path: 'saltmarsh-103-master.wav', sha256: sha256(MASTER) }])
    expect(written?.timecode).toEqual({ rate: '25', dropFrame: false, start: '09:59:45:00' })
    expect(written?.segments.map(({ kind }) => kind)).toEqual(expect.arrayContaining(['tone', 'programme']))
    await plimsollMust(['sheet', 'check', path], 0)
    const [file] = (await plimsoll(['measure', path, '--json'])).json().files
    const together = readTogetherByLibebur128(actsOf(MASTER)).programmeLoudnessLkfs
    expect(Math.abs(file.programmeLoudnessLkfs - together)).toBeLessThan(0.05)
  })

  test('prints its schema', async () => {
    const schema = (await plimsollMust(['sheet', 'schema'], 0)).json()
    expect(schema.required).toEqual(expect.arrayContaining(['sheetVersion', 'title', 'sources']))
  })
})
