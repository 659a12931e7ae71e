// `plimsoll passages` on real music and speech with a stretch raised on purpose, and its exports as others read them.
import { execFileSync } from 'node:child_process'
import { readFileSync, writeFileSync } from 'node:fs'
import { join, relative } from 'node:path'
import { beforeAll, describe, expect, test } from 'vitest'
import { type Clock, clockFromLabel, labelAt, pictureAt, printTime } from '../../src/domain/index.ts'
import { passagesDocument, readSheetFile } from '../../src/protocol/index.ts'
import { fileFolder, filesBelow, ownFolder, PREPARATION_MS, plimsollMust } from '../testkit/cli.ts'
import { ffmpeg, mixMaster } from '../testkit/cli-programmes.ts'
import { readWavByFfmpeg, readWavByLibebur128, sha256 } from '../testkit/outside.ts'
import { run } from '../testkit/wav.ts'

const folder = fileFolder()
const at = (name: string) => join(folder, name)
const SPEC = ['--spec', 'ebu-r128-s1']
const DF = ['--timecode-rate', '29.97', '--drop-frame', '--timecode-start', '00:59:50;00']
const FORMATS = ['csv', 'edl', 'otio', 'vtt', 'wav'] as const

// biome-ignore lint/suspicious/noExplicitAny: parsed documents, looked at by the test that asked for them
type Json = any

const read = (what: string, path: string): Json =>
  JSON.parse(run('/usr/bin/python3', 'test/peers/passage-readers.py', what, path).toString())

/** 107892 pictures of 29.97 drop-frame are an hour (SMPTE ST 12-1), so the start is ten seconds of labels before it. */
const CLOCK: Clock = clockFromLabel({ rate: '29.97', dropFrame: true }, 107892 - 300, 48000)

/** The passages of one run, with every export of them. */
let found: Json

beforeAll(async () => {
  // The music stands near the target of EBU R 128; from 20 s to 28 s somebody pushed it.
  mixMaster(at('level.wav'), { musicDb: -20, speechDb: -9, seconds: 60 })
  const pushed = "volume=10dB:enable='between(t,20,28)'"
  ffmpeg('-i', at('level.wav'), '-af', pushed, '-c:a', 'pcm_s24le', at('pushed.wav'))
  const exports = FORMATS.flatMap((format) => ['--export', at(`out.${format}`)])
  found = (await plimsollMust(['passages', at('pushed.wav'), ...SPEC, ...DF, ...exports, '--json'], 1)).json()
}, PREPARATION_MS)

describe('lines that the mix alone does not show', () => {
  const spec = (name: string, lines: object) => {
    const told = { id: name, title: 'Harbour Day', purpose: 'A test.', edition: '1', anchor: 'programme' }
    const programmeLoudness = { targetLkfs: -30, toleranceBelowLu: 10, toleranceAboveLu: 10 }
    writeFileSync(at(`${name}.json`), JSON.stringify({ specVersion: 1, ...told, programmeLoudness, ...lines }))
    return ['--spec', at(`${name}.json`)]
  }
  const withTrimsOf = async (source: string, asked: string[]) => {
    const place = ownFolder()
    const title = join(place, 'title.json')
    const words = ['passages', source, ...asked, '--no-speech', '--sheet', title, '--json']
    const { passages } = (await plimsollMust(words, 1)).json()
    const [mixed, out] = [join(place, 'out.wav'), join(place, 'out_nonconforming.wav')]
    await plimsollMust(['fit', title, mixed, '--set', 'stages=trims', '--keep-nonconforming', '--quiet'], 0)
    return { passages, rendered: filesBelow(place).includes('out.wav') ? mixed : out }
  }

  test("a peak that only the Lo/Ro fold-down has is found, and its trim brings FFmpeg's fold-down inside", async () => {
    mixMaster(at('level-2.wav'), { musicDb: -20, speechDb: -9, seconds: 40 })
    // From 12 s to 15 s the same sound comes from L, C and Ls at -5 dBFS at most: in Lo it is up to 7.7 dB louder.
    const burst = "volume='if(between(t,12,15),1,0)':eval=frame,alimiter=limit=0.56:level=false"
    const [left, all] = ['pan=5.1|FL=c0|FR=c1', `${burst},pan=5.1|FL=c0|FC=c0|BL=c0`]
    const graph = `[0]asplit[a][b];[a]volume=-14dB,${left}[x];[b]volume=14dB,${all}[y];[x][y]amix=inputs=2:normalize=0`
    ffmpeg('-i', at('level-2.wav'), '-filter_complex', graph, '-c:a', 'pcm_s24le', at('summed.wav'))
    const { passages, rendered } = await withTrimsOf(at('summed.wav'), spec('peak', { maxTruePeakDbtp: -2 }))
    expect(passages.length).toBeGreaterThan(0)
    for (const { line, startSeconds, endSeconds } of passages) {
      expect(line).toBe('foldDown.loRo.maxTruePeakDbtp')
      expect(startSeconds).toBeGreaterThan(11.5)
      expect(endSeconds).toBeLessThan(15.5)
    }
    const folded = (path: string) => {
      // ITU-R BS.775-3 table 2, at full level: FFmpeg's own gains would be scaled.
      const k = Math.SQRT1_2
      const law = `pan=stereo|c0=FL+${k}*FC+${k}*BL|c1=FR+${k}*FC+${k}*BR`
      ffmpeg('-i', path, '-af', law, '-c:a', 'pcm_f32le', `${path}.folded.wav`)
      return readWavByFfmpeg(`${path}.folded.wav`).maxTruePeakDbtp
    }
    expect(readWavByFfmpeg(at('summed.wav')).maxTruePeakDbtp).toBeLessThan(-2)
    expect(folded(at('summed.wav'))).toBeGreaterThan(-1)
    expect(folded(rendered)).toBeLessThan(-1.9)
  })

  test('a loudness range that is missed: its loud end, and the trims bring it inside by FFmpeg', async () => {
    const [loud, soft] = ['between(t,20,32)+between(t,45,52)', '-22dB']
    const steps = `[0]asplit[a][b];[a]volume=${soft}[s];[b]volume='if(${loud},1,0)':eval=frame[l];[s][l]amix=inputs=2:normalize=0`
    ffmpeg('-i', at('level.wav'), '-filter_complex', steps, '-c:a', 'pcm_s24le', at('wide.wav'))
    const { passages, rendered } = await withTrimsOf(at('wide.wav'), spec('range', { maxLoudnessRangeLu: 14 }))
    expect(passages.map(({ line }: Json) => line)).toEqual(passages.map(() => 'loudnessRangeLu'))
    const places = passages.map(({ startSeconds }: Json) => startSeconds).sort((a: number, b: number) => a - b)
    expect(places).toHaveLength(2)
    for (const [index, second] of [20, 45].entries()) expect(Math.abs(places[index] - second)).toBeLessThan(1)
    expect(readWavByFfmpeg(at('wide.wav')).loudnessRangeLu).toBeGreaterThan(16)
    expect(readWavByFfmpeg(rendered).loudnessRangeLu).toBeLessThan(14.2)
  })
})

test('the document has the form that is promised, and the ranks follow each other', () => {
  expect(passagesDocument.parse(found)).toEqual(found)
  expect(found).toMatchObject({
    spec: { id: 'ebu-r128-s1' },
    layout: '2.0',
    conforms: false,
    timecode: { rate: '29.97', dropFrame: true, start: '00:59:50;00' },
  })
  expect(found.passages.map(({ rank }: Json) => rank)).toEqual(
    found.passages.map((_: Json, index: number) => index + 1),
  )
})

test('the place that was pushed is found within half a second, and comes first', () => {
  const [first] = found.passages
  expect(Math.abs(first.startSeconds - 20)).toBeLessThanOrEqual(0.5)
  expect(Math.abs(first.endSeconds - 28)).toBeLessThanOrEqual(0.5)
  expect(first.suggestedTrimDb).toBeLessThan(-3)
})

test('a copy that is written is part of the progress', async () => {
  const words = ['passages', at('pushed.wav'), ...SPEC, '--no-speech', '--export', join(ownFolder(), 'copy.wav')]
  const { stderr } = await plimsollMust(words, 1)
  const shares = [...stderr.matchAll(/(\d+)% of the run/g)].map((match) => Number(match[1]))
  expect(shares).toEqual(shares.toSorted((a, b) => a - b))
  expect(stderr).toMatch(/measuring.*inspecting.*writing the marked copy: 85%.*writing the marked copy: (?:9\d|100)%/s)
})

describe('exports are read back equal', () => {
  const inTime = () => found.passages.toSorted((a: Json, b: Json) => a.startFrame - b.startFrame)

  test('CSV by Python', () => {
    const rows = read('csv', at('out.csv'))
    expect(rows).toHaveLength(found.passages.length)
    rows.forEach((row: Json, index: number) => {
      const { startFrame, endFrame, startTimecode, kind, line, message } = found.passages[index]
      expect(row).toMatchObject({
        startFrame: `${startFrame}`,
        endFrame: `${endFrame}`,
        startTimecode,
        kind,
        line,
        message,
      })
    })
  })

  test('EDL', () => {
    const list = read('edl', at('out.edl'))
    expect(list.count).toBe('DROP FRAME')
    // 60 s are 1798.2 pictures: the last is begun, and the out is exclusive. 00:59:50;00 + 1799 pictures.
    expect(list.events).toMatchObject([{ number: '001', sourceIn: '00:59:50;00', sourceOut: '01:00:49;29' }])
    const labels = list.events[0].markers.map(({ timecode }: Json) => timecode)
    expect(labels).toEqual(inTime().map(({ startTimecode }: Json) => startTimecode))
  })

  test('OpenTimelineIO', () => {
    const timeline = read('otio', at('out.otio'))
    expect(timeline.global_start_time).toMatchObject({ rate: 30000 / 1001, value: 107592 })
    const starts = timeline.tracks.markers.map(({ marked_range }: Json) => marked_range.start_time.value)
    expect(starts).toEqual(inTime().map(({ startFrame }: Json) => pictureAt(CLOCK, startFrame)))
  })

  test('WebVTT by FFmpeg', () => {
    const shown = run('ffprobe', '-v', 'error', '-show_packets', '-of', 'json', at('out.vtt')).toString()
    const starts = JSON.parse(shown).packets.map(({ pts_time }: Json) => Number(pts_time))
    expect(starts).toEqual(inTime().map(({ startSeconds }: Json) => Math.round(startSeconds * 1000) / 1000))
  })

  test('markers by libsndfile; the audio is the same', () => {
    const cues = read('cue', at('out.wav'))
    expect(cues.map(({ offset }: Json) => offset)).toEqual(inTime().map(({ startFrame }: Json) => startFrame))
    for (const { name } of cues) expect(name).toMatch(/^(?:Too loud|Too soft|Level step|Thinnest margin): [ -~]+$/)
    const lengths = read('chunks', at('out.wav')).labels.filter(([, kind]: Json) => kind === 'ltxt')
    const frames = inTime().map(({ startFrame, endFrame }: Json) => endFrame - startFrame)
    expect(lengths.map(([, , length]: Json) => length)).toEqual(frames)
    expect(() => execFileSync('sndfile-cmp', [at('pushed.wav'), at('out.wav')])).not.toThrow()
  })

  test('the same again, with any number of workers, gives the same bytes', async () => {
    const place = ownFolder()
    const exports = FORMATS.flatMap((format) => ['--export', join(place, `out.${format}`)])
    await plimsollMust(['passages', at('pushed.wav'), ...SPEC, ...DF, ...exports, '--workers', '1', '--quiet'], 1)
    for (const format of FORMATS) expect(sha256(join(place, `out.${format}`)), format).toBe(sha256(at(`out.${format}`)))
  })
})

test('the text names places, cause, trim and effect, and says what was written', async () => {
  const table = join(ownFolder(), 'passages.csv')
  const { stdout } = await plimsollMust(
    ['passages', at('pushed.wav'), ...SPEC, ...DF, '--no-speech', '--export', table],
    1,
  )
  const [first] = found.passages
  expect(stdout).toContain(`${first.startTimecode}  ${first.endTimecode}`)
  expect(stdout).toMatch(/does not conform to .*\n.*from 00:59:50;00 at 29\.97 drop-frame\n/)
  expect(stdout).toMatch(/carried by (?:L|R) \d+ %, (?:L|R) \d+ %/)
  expect(stdout).toMatch(/trim \u2212\d+\.\d dB: the total goes from \u2212\d+\.\d\d to \u2212\d+\.\d\d LKFS/)
  expect(stdout).toContain(first.message)
  expect(stdout).toContain(`written: ${table}`)
  expect(readFileSync(table, 'utf8')).toContain(first.startTimecode)
})

test('without timecode, places are told in time from the first frame', async () => {
  const run = await plimsollMust(['passages', at('pushed.wav'), ...SPEC, '--no-speech'], 1)
  expect(run.stdout).toMatch(/ {2}0:00:\d\d\.\d\d {2}0:00:\d\d\.\d\d {3}[a-z -]+\n/)
})

test('that no line was looked at is told where nobody listened, and only there', async () => {
  const deaf = await plimsollMust(['passages', at('pushed.wav'), ...SPEC, '--no-speech'], 1)
  const heard = await plimsollMust(['passages', at('pushed.wav'), ...SPEC], 1)
  expect(deaf.stdout).toContain('lines that are too soft were not looked for')
  expect(heard.stdout).not.toContain('not looked for')
})

test.each([
  ['measure', (json: Json) => json.files[0].findings],
  ['verify', (json: Json) => json.findings],
] as const)('findings of %s carry timecode, in the place and in the sentence', async (command, findingsOf) => {
  const findings = findingsOf((await plimsollMust([command, at('pushed.wav'), ...SPEC, ...DF, '--json'], 1)).json())
  const placed = findings.filter((finding: Json) => finding.at !== null)
  expect(placed.length).toBeGreaterThan(0)
  for (const finding of placed) {
    const label = labelAt(CLOCK, Math.round(finding.at.startSeconds * 48000))
    expect(finding.at.timecode).toBe(label)
    expect(finding.message).toContain(label)
  }
})

describe('suggested trims', () => {
  const trimmed = () => found.passages.filter(({ suggestedTrimDb }: Json) => suggestedTrimDb !== null)
  const applied = ['--set', 'stages=trims', '--keep-nonconforming', '--quiet']

  /** What `fit` wrote, whatever its name says about conforming. */
  async function loudnessAfter(out: string, source: string, words: readonly string[]): Promise<number> {
    await plimsollMust(['fit', source, join(out, 'trimmed.wav'), ...SPEC, ...words, ...applied], 1)
    const [name] = filesBelow(out).filter((file) => file.startsWith('trimmed'))
    return readWavByLibebur128(join(out, name as string)).programmeLoudnessLkfs
  }

  test('each does to the total what was said, as libebur128 reads it', async () => {
    expect(trimmed().length).toBeGreaterThan(0)
    for (const { startSeconds, endSeconds, suggestedTrimDb, effect } of trimmed().slice(0, 3)) {
      const words = ['--trim', `${printTime(startSeconds, 3)} ${printTime(endSeconds, 3)} ${suggestedTrimDb}`]
      const loudness = await loudnessAfter(ownFolder(), at('pushed.wav'), words)
      expect(Math.abs(loudness - effect.programmeLoudnessAfterLkfs)).toBeLessThan(0.01)
    }
    const before = readWavByLibebur128(at('pushed.wav')).programmeLoudnessLkfs
    expect(Math.abs(before - trimmed()[0].effect.programmeLoudnessBeforeLkfs)).toBeLessThan(0.01)
  })

  test('--sheet writes them down, and fit takes the sheet', async () => {
    const place = ownFolder()
    const path = join(place, 'title.json')
    await plimsollMust(['passages', at('pushed.wav'), ...SPEC, ...DF, '--no-speech', '--sheet', path], 1)
    const { sheet, problems } = readSheetFile(JSON.parse(readFileSync(path, 'utf8')))
    expect(problems).toBeNull()
    expect(sheet).toMatchObject({
      timecode: { rate: '29.97', dropFrame: true, start: '00:59:50;00' },
      spec: { id: 'ebu-r128-s1' },
      sources: [{ path: relative(place, at('pushed.wav')), sha256: sha256(at('pushed.wav')) }],
    })
    const trims = sheet?.fit.trims ?? []
    expect(trims.length).toBeGreaterThan(0)
    for (const { gainDb, reason } of trims) {
      const suggested = trimmed().map((passage: Json) => [passage.suggestedTrimDb, passage.message])
      expect(suggested).toContainEqual([gainDb, reason])
    }
    // The first of them alone, as the sheet writes it in labels, does what its passage said.
    const [first] = trimmed()
    const text = JSON.parse(readFileSync(path, 'utf8'))
    text.fit.trims = text.fit.trims.filter(({ reason }: Json) => reason === first.message)
    expect(text.fit.trims).toHaveLength(1)
    writeFileSync(join(place, 'one.json'), JSON.stringify(text))
    const loudness = await loudnessAfter(place, join(place, 'one.json'), [])
    expect(Math.abs(loudness - first.effect.programmeLoudnessAfterLkfs)).toBeLessThan(0.01)
    const existing = await plimsollMust(['passages', at('pushed.wav'), ...SPEC, '--sheet', path, '--json'], 2)
    expect(existing.json().refusal.code).toBe('JOBS_OUTPUT_EXISTS')
  })
})
