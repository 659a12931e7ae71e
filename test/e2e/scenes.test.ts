// Scenes and starting settings of an upmix, and reels, through the built command; the lock checked from outside by NumPy.
import { readFileSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { beforeAll, describe, expect, test } from 'vitest'
import { deliverySums, fileFolder, PREPARATION_MS, plimsoll, plimsollMust } from '../testkit/cli.ts'
import { ffmpeg, mixMaster } from '../testkit/cli-programmes.ts'
import { byNumpy, wavShape } from '../testkit/outside.ts'

const folder = fileFolder()
const at = (name: string) => join(folder, name)
const RATE_HZ = 48000
const SECONDS = 34
const MASTER = at('master.wav')

/** Every control changes at some border: hard against each other, in 10 ms, slowly, across 25.6 s, to the very end. */
const SCENES = [
  { name: 'open', from: '0:00:00.000', to: '0:00:04.200', glideOutMs: 10, settings: { centreShare: 0.3 } },
  {
    name: 'storm',
    from: '0:00:04.200',
    to: '0:00:09.000',
    glideInMs: 10,
    glideOutMs: 2000,
    settings: { ambienceShare: 1.41, surroundDelayMs: 12, surroundSpread: 'velvet', surroundHighCutHz: 7000 },
  },
  { from: '0:00:12.345', to: '0:00:12.385', glideInMs: 10, glideOutMs: 10, settings: { ambienceShare: 0 } },
  {
    from: '0:00:20.000',
    to: '0:00:25.600',
    settings: { surroundSpread: 'quadrature', surroundBalance: 1, lfeGainDb: -10, lfeCornerHz: 80 },
  },
  {
    from: '0:00:25.700',
    to: '0:00:34.000',
    settings: { directRejection: 0.2, centreReach: 0.3, surroundLowCutHz: 300 },
  },
]

function sheet(name: string, upmix: object, change: object = {}): string {
  const file = {
    sheetVersion: 1,
    title: { id: 'saltmarsh-lane-103', name: 'Saltmarsh Lane, episode 3', deliveredOn: '1986-04-11' },
    sources: [{ path: 'master.wav' }],
    spec: { id: 'ebu-r128' },
    upmix,
    ...change,
  }
  writeFileSync(at(name), JSON.stringify(file))
  return at(name)
}

beforeAll(() => {
  mixMaster(MASTER, { musicDb: -18, speechDb: -6, seconds: SECONDS })
  expect(wavShape(MASTER)).toMatchObject({ frameCount: SECONDS * RATE_HZ, bits: 24 })
}, PREPARATION_MS)

describe('an upmix with scenes', () => {
  test('folds down to the master bit for bit through every change, and is another upmix than without', async () => {
    const path = sheet('scenes.json', { start: 'documentary', settings: { ambienceShare: 0.9 }, scenes: SCENES })
    await plimsollMust(['upmix', path, at('scenes_51.wav'), '--gain', '0'], 0)
    expect(byNumpy('fold', at('scenes_51.wav'), MASTER)).toMatchObject({ differing: 0, frames: SECONDS * RATE_HZ })
    await plimsollMust(['upmix', MASTER, at('plain_51.wav')], 0)
    expect(byNumpy<{ differing: number }>('same', at('scenes_51.wav'), at('plain_51.wav')).differing).toBeGreaterThan(
      1e6,
    )
  })

  test('a scene that spreads the fronts opens the lock there and nowhere else', async () => {
    const scenes = [
      { from: '0:00:10.000', to: '0:00:12.000', glideInMs: 100, glideOutMs: 400, settings: { frontSpread: 1.3 } },
    ]
    await plimsollMust(['upmix', sheet('spread.json', { scenes }), at('spread_51.wav'), '--gain', '-3'], 0)
    await plimsollMust(['upmix', MASTER, at('closed_51.wav'), '--gain', '-3'], 0)
    await plimsollMust(['fold', at('closed_51.wav'), at('closed_20.wav'), '--to', 'lo-ro'], 0)
    const { first, last } = byNumpy<{ first: number; last: number }>(
      'open_frames',
      at('spread_51.wav'),
      at('closed_20.wav'),
    )
    // Each glide lies half outside; its first and last milliseconds move less than one step.
    expect(first).toBeGreaterThanOrEqual(9.95 * RATE_HZ)
    expect(first).toBeLessThan(10 * RATE_HZ)
    expect(last).toBeGreaterThan(12 * RATE_HZ)
    expect(last).toBeLessThan(12.2 * RATE_HZ)
  })
})

test('a picture shows where the energy went, and is refused where it would take the place of the upmix', async () => {
  const path = sheet('pictured.json', { scenes: SCENES })
  const args = ['upmix', path, at('pictured_51.wav'), '--set', 'centreShare=0.5']
  await plimsollMust([...args, '--picture', at('pictured.svg')], 0)
  const svg = readFileSync(at('pictured.svg'), 'utf8')
  // Channels in the order of ITU-R BS.775; the LFE is fed in one scene.
  for (const channel of ['L', 'R', 'C', 'LFE', 'Ls', 'Rs']) expect(svg).toContain(`>${channel}</text>`)
  expect(svg).toContain('5 scenes are marked')
  const run = await plimsoll([...args, '--replace', '--picture', at('pictured_51.wav')])
  expect(run.code).toBe(2)
  expect(run.stderr).toContain('another output of this run')
})

describe('a delivery with scenes', () => {
  test('is the same with one worker and two, closed, planned and verified', async () => {
    // A spec that is wide enough for one gain of both files.
    const path = sheet('deliver.json', { scenes: SCENES }, { spec: { id: 'atsc-a85' } })
    for (const workers of ['1', '2']) {
      await plimsollMust(['deliver', path, '--out', at(`delivery-${workers}`), '--workers', workers], 0)
    }
    expect(deliverySums(at('delivery-1'))).toEqual(deliverySums(at('delivery-2')))
    const [mix, stereo] = ['51', '20'].map((end) => at(`delivery-1/saltmarsh-lane-103_${end}.wav`)) as [string, string]
    expect(byNumpy('fold', mix, stereo)).toMatchObject({ differing: 0 })
    const { scenes } = JSON.parse(readFileSync(at('delivery-1/plan.json'), 'utf8'))
    expect(scenes).toHaveLength(SCENES.length)
    expect(scenes[1]).toMatchObject({
      name: 'storm',
      startFrame: 4.2 * RATE_HZ,
      endFrame: 9 * RATE_HZ,
      glideOutFrames: 2 * RATE_HZ,
      settings: { ambienceShare: 1.41, centreShare: 1 },
    })
    await plimsollMust(['verify', at('delivery-1'), '--spec', 'atsc-a85'], 0)
  })

  test('that spread the fronts says so, also when it is verified', async () => {
    const scenes = [{ from: '0:00:10.000', to: '0:00:12.000', settings: { frontSpread: 1.3 } }]
    const run = await plimsollMust(['deliver', sheet('open.json', { scenes }), '--out', at('open'), '--json'], 0)
    const verified = await plimsollMust(['verify', at('open'), '--spec', 'ebu-r128', '--json'], 0)
    for (const { foldDownLock } of [run.json(), verified.json()]) {
      expect(foldDownLock).toMatchObject({ state: 'open', openedBy: ['frontSpread'] })
      expect(foldDownLock.differingSamples).toBeGreaterThan(1000)
      expect(foldDownLock.differingSamples).toBeLessThanOrEqual(2 * 2.5 * RATE_HZ)
    }
  })
})

describe('starting settings', () => {
  test('start < sheet < command: each goes over the one before', async () => {
    const upmixed = async (name: string, args: readonly string[]) => {
      await plimsollMust(['upmix', ...args.slice(0, 1), at(name), ...args.slice(1)], 0)
      return at(name)
    }
    const sets = ['centreSpeechFill=0.5', 'ambienceShare=0.7', 'ambienceStrictness=0.8', 'surroundHighCutHz=10000']
    const named = await upmixed('start-a.wav', [MASTER, ...sets.flatMap((word) => ['--set', word])])
    const differing = async (name: string, ...args: readonly string[]) =>
      byNumpy<{ differing: number }>('same', named, await upmixed(name, args)).differing
    expect(await differing('start-b.wav', MASTER, '--start', 'documentary')).toBe(0)
    expect(await differing('start-c.wav', sheet('start.json', { start: 'documentary' }))).toBe(0)
    const over = sheet('over.json', { start: 'documentary', settings: { ambienceShare: 0.2 } })
    expect(await differing('start-d.wav', over)).toBeGreaterThan(1e6)
    expect(await differing('start-e.wav', over, '--set', 'ambienceShare=0.7')).toBe(0)
  })

  test('are listed with their reasons; another name is refused with those that there are', async () => {
    const { starts } = (await plimsollMust(['sheet', 'starts', '--json'], 0)).json()
    expect(starts).toHaveLength(5)
    expect((await plimsollMust(['sheet', 'starts'], 0)).stdout).toMatch(/archive-lt-rt: .*\n {2}The surround/)
    const run = await plimsoll(['upmix', MASTER, at('never.wav'), '--start', 'drama'])
    expect(run.code).toBe(2)
    expect(run.stderr).toContain('drama-dialogue')
  })
})

test('scenes that cannot be placed are refused, each with its place and the nearest time', async () => {
  const scenes = [
    { from: '0:00:01.000', to: '0:00:05.000' },
    { from: '0:00:04.000', to: '0:00:06.000' },
    { from: '0:00:30.000', to: '0:00:50.000' },
  ]
  const run = await plimsoll(['sheet', 'check', sheet('wrong.json', { scenes })])
  expect(run.code).toBe(2)
  expect(run.stderr).toMatch(/upmix\.scenes\.1\.from: .*did you mean "0:00:05\.000"/)
  expect(run.stderr).toMatch(/upmix\.scenes\.2\.to: .*did you mean "0:00:34\.000"/)
})

test('reels are upmixed as one programme: no step at the join', async () => {
  // The join lies inside the music, beside no border of anything.
  for (const [reel, cut] of [
    ['1', 'end_sample=630001'],
    ['2', 'start_sample=630001'],
  ] as const) {
    ffmpeg('-i', MASTER, '-af', `atrim=${cut}`, '-c:a', 'pcm_s24le', at(`reel-${reel}.wav`))
  }
  const sources = ['1', '2'].map((reel) => ({ path: `reel-${reel}.wav` }))
  const scenes = [{ from: '0:00:13.000', to: '0:00:20.000', glideInMs: 1000, settings: { ambienceShare: 0.5 } }]
  await plimsollMust(['upmix', sheet('reels.json', { scenes }, { sources }), at('reels_51.wav')], 0)
  await plimsollMust(['upmix', sheet('one.json', { scenes }), at('one_51.wav')], 0)
  expect(byNumpy('same', at('reels_51.wav'), at('one_51.wav'))).toEqual({ differing: 0 })
  expect(byNumpy('fold', at('reels_51.wav'), MASTER)).toMatchObject({ differing: 0 })
})
