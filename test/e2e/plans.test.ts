// What the desk lets hear after a change is the plan that a desk just started would make: what it keeps of the analysis
// between two plans never shows.
import { writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { afterAll, beforeAll, expect, test } from 'vitest'
import { unpackPlan } from '../../src/protocol/index.ts'
import { fileFolder, PREPARATION_MS } from '../testkit/cli.ts'
import { mixMaster } from '../testkit/cli-programmes.ts'
import { askDesk, bytesOf, type Desk, startDesk } from '../testkit/desk.ts'

const folder = fileFolder()
const SHEET = 'harbour-day.sheet.json'
const door = { from: '0:00:10.000', to: '0:00:20.000', gainDb: -6, glideMs: 200 }

const textOf = (more: object = {}, master = 'harbour-day.wav') =>
  JSON.stringify({
    sheetVersion: 1,
    title: { id: 'harbour-day', name: 'Harbour Day' },
    sources: [{ path: master, role: 'programme' }],
    spec: { id: 'ebu-r128-s1' },
    ...more,
  })

const ambient = { settings: { ambienceShare: 0.3 } }
const ridden = { from: '0:00:30.000', to: '0:00:33.000', points: [{ at: '0:00:31.000', gainDb: -4 }] }
/** One after the other on the desk that keeps what it knows. */
const CHANGES: readonly (readonly [change: string, text: string])[] = [
  ['as it is', textOf()],
  ['a trim', textOf({ fit: { trims: [door] } })],
  ['a hand ride', textOf({ fit: { trims: [door], handRides: [ridden] } })],
  ['another spec', textOf({ spec: { id: 'atsc-a85' }, fit: { trims: [door] } })],
  ['settings of the upmix', textOf({ upmix: ambient })],
  [
    'a limit',
    textOf({ upmix: ambient, fit: { limits: [{ from: door.from, to: door.to, lowestDb: -6, highestDb: -2 }] } }),
  ],
  [
    'the low end treated',
    textOf({ upmix: ambient, fit: { settings: { lowEnd: 'manual', lowEndThresholdDbfs: -60 } } }),
  ],
  ['a track turned upside down', textOf({ upmix: { settings: { polarity: 'flip-left' } } })],
  ['the tracks as they are again', textOf({ fit: { trims: [{ ...door, gainDb: -3 }] } })],
  ['another master', textOf({}, 'calm.wav')],
]

let kept: Desk
const made: string[] = []

beforeAll(async () => {
  mixMaster(join(folder, 'harbour-day.wav'), { seconds: 60, musicDb: -6 })
  mixMaster(join(folder, 'calm.wav'), { seconds: 60, musicDb: -16 })
  writeFileSync(join(folder, SHEET), textOf())
  kept = await startDesk(folder)
}, PREPARATION_MS)
afterAll(() => kept.stop())

async function planBy(desk: Desk, text: string): Promise<string> {
  const answer = await askDesk(desk, 'POST', `/api/plan?id=${SHEET}`, { text })
  expect(answer.status).toBe(200)
  return Buffer.from(await answer.arrayBuffer()).toString('latin1')
}

test.each(CHANGES)('%s: planned as if for the first time', async (_, text) => {
  const fresh = await startDesk(folder)
  try {
    const anew = await planBy(fresh, text)
    expect(unpackPlan(bytesOf(Buffer.from(anew, 'latin1'))).gain).not.toBeNull()
    // The change is one.
    expect(made).not.toContain(anew)
    made.push(anew)
    expect(await planBy(kept, text)).toBe(anew)
    expect(await planBy(kept, text)).toBe(anew)
  } finally {
    await fresh.stop()
  }
})

test('a plan that is given up for another leaves what that one needs', async () => {
  const fresh = await startDesk(folder)
  try {
    const [first, text] = [CHANGES[0]![1], CHANGES[1]![1]]
    const [given, made] = await Promise.all([
      askDesk(fresh, 'POST', `/api/plan?id=${SHEET}`, { text: first }),
      new Promise((resolve) => setTimeout(resolve, 300)).then(() => planBy(fresh, text)),
    ])
    expect([200, 204]).toContain(given.status)
    expect(made).toBe(await planBy(kept, text))
  } finally {
    await fresh.stop()
  }
})
