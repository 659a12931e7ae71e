// The same source and settings give the same bytes, however the work is shared and however the machine runs it.
import { join } from 'node:path'
import { beforeAll, describe, expect, test } from 'vitest'
import { deliverySums, fileFolder, PREPARATION_MS, plimsollMust, type Start } from '../testkit/cli.ts'
import { mixMaster } from '../testkit/cli-programmes.ts'

const folder = fileFolder()
const master = join(folder, 'master.wav')
// With everything that could depend on order or time: low end and bands, a ride, the ceiling, dither at 16 bit, an LFE,
// all surrounds.
const ARGS = [
  '--spec',
  'ebu-r128-s1',
  '--bits',
  '16',
  '--gain-curve',
  '--set',
  'lfeGainDb=-10',
  '--set',
  'surroundSpread=velvet',
  ...['lowEnd=manual', 'lowEndThresholdDbfs=-46', 'bands=manual', 'bandsLowMidThresholdDbfs=-28'].flatMap((word) => [
    '--set',
    word,
  ]),
]

async function sums(name: string, args: readonly string[] = [], start: Start = {}) {
  const out = join(folder, name)
  await plimsollMust(['deliver', master, '--out', out, ...ARGS, ...args], 0, start)
  return deliverySums(out)
}

let once: Readonly<Record<string, string>>

beforeAll(async () => {
  const leap = "volume='if(between(t,14,19),1,0.2)':eval=frame"
  // Three segments of 25.6 s, so that two workers share them unevenly.
  mixMaster(master, { music: 'Advanced Simulacra', musicDb: -14, speechDb: -4, seconds: 56, finish: leap })
  once = await sums('once', ['--workers', '1'])
}, PREPARATION_MS)

describe('every file but the log is the same', () => {
  test.each<[string, readonly string[], Start]>([
    ['a second time', ['--workers', '1'], {}],
    ['with two workers', ['--workers', '2'], {}],
    ['with more workers than there is work', ['--workers', '7'], {}],
    [
      'from another folder, in another time zone and language',
      [],
      { cwd: '/', env: { TZ: 'Asia/Tokyo', LC_ALL: 'C' } },
    ],
    ['without the optimising compiler of JavaScript', [], { node: ['--no-opt'] }],
    ['with the baseline compiler of WebAssembly alone', [], { node: ['--liftoff-only'] }],
    ['with the optimising compiler of WebAssembly from the start', [], { node: ['--no-liftoff', '--no-wasm-tier-up'] }],
  ])('%s', async (name, args, start) => {
    expect(Object.keys(once)).toHaveLength(9)
    expect(await sums(name, args, start)).toEqual(once)
  })
})
