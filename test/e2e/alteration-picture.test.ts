// The picture of what a fit altered: Python's XML reader finds the strokes, and they stand where the JSON says.
import { spawnSync } from 'node:child_process'
import { existsSync, readFileSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { beforeAll, describe, expect, test } from 'vitest'
import { type DeliveryDocument, deliveryDocument, manifestDocument } from '../../src/protocol/index.ts'
import { fileFolder, filesBelow, ownFolder, PREPARATION_MS, plimsoll, plimsollMust } from '../testkit/cli.ts'
import { ffmpeg, mixMaster } from '../testkit/cli-programmes.ts'
import { sha256 } from '../testkit/outside.ts'

const folder = fileFolder()
const at = (name: string) => join(folder, name)

/** Speech that is raised into the ceiling and music alone in turn, twelve seconds 14 dB above the rest. */
function makeMaster(path: string): void {
  const parts = [10, 5, 12, 6, 11].map((seconds, index) =>
    mixMaster(at(`part${index}.wav`), {
      music: 'Advanced Simulacra',
      musicDb: -14 - index,
      speechDb: index % 2 === 0 ? 2 : -100,
      fromSeconds: 30 + 12 * index,
      seconds,
    }),
  )
  const inputs = parts.flatMap((part) => ['-i', part])
  const leap = "volume='if(between(t,14,26),1,0.2)':eval=frame"
  ffmpeg(...inputs, '-filter_complex', `concat=n=${parts.length}:v=0:a=1,${leap}`, '-c:a', 'pcm_s24le', path)
}

const SPEC = {
  specVersion: 1,
  id: 'own',
  title: 'Own',
  purpose: 'A test.',
  edition: '1',
  programmeLoudness: { targetLkfs: -23, toleranceBelowLu: 1, toleranceAboveLu: 1 },
  maxShortTermLkfs: -18,
  maxTruePeakDbtp: -7,
}

const LOUD = {
  ...SPEC,
  programmeLoudness: { targetLkfs: -2, toleranceBelowLu: 1, toleranceAboveLu: 1 },
  maxShortTermLkfs: undefined,
  maxTruePeakDbtp: -1,
}

type Drawn = { readonly texts: readonly string[]; readonly paths: Readonly<Record<string, readonly string[]>> }

/** Texts and, by their class, the paths of an SVG file. */
function drawnIn(path: string): Drawn {
  const script = `
import json, sys, xml.etree.ElementTree as tree
root = tree.parse(sys.argv[1]).getroot()
name = lambda element: element.tag.split('}')[1]
paths = {}
for element in root.iter():
    if name(element) == 'path': paths.setdefault(element.get('class', ''), []).append(element.get('d'))
texts = [''.join(element.itertext()) for element in root.iter() if name(element) == 'text']
print(json.dumps({'texts': texts, 'paths': paths}))`
  const { stdout, stderr } = spawnSync('python3', ['-c', script, path], { encoding: 'utf8', maxBuffer: 1 << 26 })
  expect(stderr).toBe('')
  return JSON.parse(stdout)
}

/** Begin, height and end of the strokes of a path that consists of level ones. */
function strokesOf(path: string | undefined): readonly (readonly [number, number, number])[] {
  return Array.from((path ?? '').matchAll(/M([\d.]+) ([\d.]+)H([\d.]+)/g), ([, from, y, to]) => [
    Number(from),
    Number(y),
    Number(to),
  ])
}

type OverTime = NonNullable<DeliveryDocument['alteration']['overTime']>
let told: DeliveryDocument
let dialogue: NonNullable<OverTime['dialogue']>

beforeAll(async () => {
  makeMaster(at('leap.wav'))
  writeFileSync(at('own.json'), JSON.stringify(SPEC))
  await plimsollMust(['upmix', at('leap.wav'), at('six.wav'), '--gain', '-6'], 0)
  const run = await plimsollMust(fitWords(at('fitted.wav'), at('altered.svg')), 0)
  told = deliveryDocument.parse(run.json())
  dialogue = told.alteration.overTime?.dialogue as typeof dialogue
}, PREPARATION_MS)

function fitWords(out: string, picture: string, ...more: readonly string[]): readonly string[] {
  return ['fit', at('six.wav'), out, '--spec', at('own.json'), '--picture', picture, '--json', ...more]
}

describe('fit --picture', () => {
  test('has a lane for each stage that acted, dialogue before them', () => {
    const { texts } = drawnIn(at('altered.svg'))
    const lanes = ['short-term', 'dialogue over', 'background', 'for others,', 'ride', 'ceiling', 'octaves']
    const places = lanes.map((lane) => texts.indexOf(lane))
    expect(places).toEqual(places.toSorted((a, b) => a - b))
    expect(places).not.toContain(-1)
    expect(texts.filter((text) => text.startsWith('Dialogue over background:'))).toHaveLength(1)
  })

  test('has a stroke for each line before and after, where the JSON has it', () => {
    const heard = dialogue.lines.filter(
      ({ overBackgroundBeforeLu, overBackgroundAfterLu }) =>
        overBackgroundBeforeLu !== null && overBackgroundAfterLu !== null,
    )
    expect(heard.length).toBeGreaterThan(2)
    const { paths } = drawnIn(at('altered.svg'))
    const [before, after] = ['before', 'after'].map((name) => strokesOf(paths[name]?.[0]))
    expect([before?.length, after?.length]).toEqual([heard.length, heard.length])
    // A line through two heights gives the scale in LU; all the others have to lie on it.
    const values = heard.flatMap((line, index) => [
      { lu: line.overBackgroundBeforeLu as number, y: before?.[index]?.[1] as number },
      { lu: line.overBackgroundAfterLu as number, y: after?.[index]?.[1] as number },
    ])
    const [top, low] = [values.reduce((a, b) => (b.lu > a.lu ? b : a)), values.reduce((a, b) => (b.lu < a.lu ? b : a))]
    const perLu = (low.y - top.y) / (top.lu - low.lu)
    expect(perLu).toBeGreaterThan(1)
    for (const { lu, y } of values) expect(Math.abs(top.y + (top.lu - lu) * perLu - y)).toBeLessThan(0.1)
    const seconds = told.source.measurements.durationSeconds
    const [first] = heard
    const share = ((before?.[0]?.[0] as number) - 58) / (852 - 58)
    expect(share).toBeCloseTo((first?.startSeconds as number) / seconds, 4)
  })

  test('the lines and what others took are those of the totals', () => {
    const { dialogue: totals } = told.alteration
    const middle = (values: readonly (number | null)[]) => {
      const sorted = values.filter((value) => value !== null).toSorted((a, b) => a - b)
      const half = sorted.length / 2
      return half % 1 === 0
        ? ((sorted[half - 1] as number) + (sorted[half] as number)) / 2
        : (sorted[Math.floor(half)] as number)
    }
    const { lines, byOtherChannels } = dialogue
    expect(middle(lines.map((line) => line.overBackgroundBeforeLu))).toBeCloseTo(totals?.overBackgroundBeforeLu ?? 0, 1)
    expect(middle(lines.map((line) => line.overBackgroundAfterLu))).toBeCloseTo(totals?.overBackgroundAfterLu ?? 0, 1)
    // In half a minute a column is one hop of 100 ms, so that their sum is the total.
    const sum = (db: readonly number[] | undefined) => (db ?? []).reduce((all, each) => all + each, 0) / 10
    expect(sum(byOtherChannels?.rideDb)).toBeGreaterThan(0)
    expect(sum(byOtherChannels?.rideDb)).toBeCloseTo(totals?.byOtherChannels?.rideDbSeconds ?? 0, 1)
    expect(sum(byOtherChannels?.ceilingDb)).toBeCloseTo(totals?.byOtherChannels?.ceilingDbSeconds ?? 0, 1)
  })

  test('is the same to the byte with one worker', async () => {
    const place = ownFolder()
    const [out, picture] = [join(place, 'fitted.wav'), join(place, 'altered.svg')]
    await plimsollMust(fitWords(out, picture, '--workers', '1'), 0)
    expect(sha256(picture)).toBe(sha256(at('altered.svg')))
  })

  test('is drawn where only the static gain acted, and says so', async () => {
    const place = ownFolder()
    writeFileSync(join(place, 'soft.json'), JSON.stringify({ ...SPEC, programmeLoudness: softly, maxShortTermLkfs: 0 }))
    const words = ['fit', at('six.wav'), join(place, 'out.wav'), '--spec', join(place, 'soft.json')]
    await plimsollMust([...words, '--picture', join(place, 'out.svg')], 0)
    const { texts } = drawnIn(join(place, 'out.svg'))
    expect(texts).toContain('dialogue gave nothing')
    expect(texts).toContain('did not act')
    expect(texts).not.toContain('ride')
  })
})

const softly = { targetLkfs: -40, toleranceBelowLu: 1, toleranceAboveLu: 1 }

describe('where it cannot be written', () => {
  test.each<[string, (place: string) => string, string]>([
    ['the source', () => at('six.wav'), 'JOBS_OUTPUT_IS_SOURCE'],
    ['the fitted file itself', (place) => join(place, 'out.wav'), 'JOBS_OUTPUT_EXISTS'],
    ['a picture that is there', () => at('altered.svg'), 'JOBS_OUTPUT_EXISTS'],
    ['a folder that is not there', (place) => join(place, 'no/out.svg'), 'JOBS_OUTPUT_NOT_WRITABLE'],
  ])('%s: refused, nothing written', async (_, picture, code) => {
    const place = ownFolder()
    const run = await plimsoll(fitWords(join(place, 'out.wav'), picture(place)))
    expect([run.code, run.json().refusal.code]).toEqual([2, code])
    expect(filesBelow(place)).toEqual([])
  })

  test('of what does not conform there is none', async () => {
    const place = ownFolder()
    writeFileSync(join(place, 'loud.json'), JSON.stringify(LOUD))
    const words = ['fit', at('six.wav'), join(place, 'out.wav'), '--spec', join(place, 'loud.json')]
    await plimsollMust([...words, '--picture', join(place, 'out.svg')], 1)
    expect(existsSync(join(place, 'out.svg'))).toBe(false)
    await plimsollMust([...words, '--picture', join(place, 'out.svg'), '--keep-nonconforming'], 1)
    expect(filesBelow(place)).toEqual(['loud.json', 'out_nonconforming.svg', 'out_nonconforming.wav'])
  })
})

describe('deliver --picture', () => {
  test('puts it into the delivery, listed with its role and checksum', async () => {
    const out = join(ownFolder(), 'out')
    await plimsollMust(['deliver', at('leap.wav'), '--spec', at('own.json'), '--out', out, '--picture'], 0)
    const { files } = manifestDocument.parse(JSON.parse(readFileSync(join(out, 'manifest.json'), 'utf8')))
    const picture = join(out, 'leap_altered.svg')
    expect(files.find(({ role }) => role === 'picture')).toMatchObject({
      path: 'leap_altered.svg',
      sha256: sha256(picture),
    })
    expect(drawnIn(picture).texts).toContain('dialogue over')
    await plimsollMust(['verify', out, '--spec', at('own.json')], 0)
  })
})
