// The fit on the desk's timeline, in a real browser: found by a key, read at the pointer, drawn again after a change. What
// the page says is what the plan holds, and the loudness that it promises is what FFmpeg reads on the delivered file.
import { readFileSync } from 'node:fs'
import { join } from 'node:path'
import type { Browser, Page } from 'playwright-core'
import { afterAll, beforeAll, expect, test } from 'vitest'
import { type ListeningPlan, unpackPlan } from '../../src/protocol/index.ts'
import { fileFolder, PREPARATION_MS, plimsollMust } from '../testkit/cli.ts'
import { ffmpeg, mixMaster } from '../testkit/cli-programmes.ts'
import { accessFaults, bytesOf, type Desk, openBrowser, startDesk } from '../testkit/desk.ts'
import { readWavByFfmpeg } from '../testkit/outside.ts'

const folder = fileFolder()
const at = (name: string) => join(folder, name)
const SECONDS = 60
/** EBU R 128 s1: highest short-term loudness of short-form content, in LUFS. */
const SHORT_TERM_LUFS = -18

let desk: Desk
let browser: Browser
let page: Page

beforeAll(async () => {
  // A 5.1 with a stretch raised on purpose, and with hits that are raised into the ceiling.
  mixMaster(at('two.wav'), {
    musicDb: -20,
    speechDb: -9,
    seconds: SECONDS,
    finish: `volume=-12dB,volume=8dB:enable='between(t,20,28)',volume=20dB:enable='between(t,40,44)*lt(mod(t,1),0.01)'`,
  })
  const pan = 'pan=5.1(side)|c0=c0|c1=c1|c2=0.7*c0+0.7*c1|c3=0.2*c0|c4=0.5*c0-0.3*c1|c5=0.5*c1-0.2*c0'
  ffmpeg('-i', at('two.wav'), '-af', pan, '-c:a', 'pcm_s24le', at('harbour-day.wav'))
  await plimsollMust(
    ['sheet', 'new', at('harbour-day.wav'), '--out', at('harbour-day.sheet.json'), '--spec', 'ebu-r128-s1'],
    0,
  )
  desk = await startDesk(folder)
  browser = await openBrowser()
}, PREPARATION_MS)

afterAll(async () => {
  await browser?.close()
  expect(await desk.stop()).toBe(0)
})

async function openTitle(colorScheme: 'light' | 'dark' = 'light'): Promise<void> {
  const context = await browser.newContext({ viewport: { width: 1280, height: 800 }, colorScheme })
  page = await context.newPage()
  page.on('pageerror', (error) => {
    throw error
  })
  await page.goto(desk.url)
  await page
    .getByRole('link', { name: /harbour-day/ })
    .first()
    .click()
  await page.getByRole('heading', { name: /Passages/ }).waitFor()
}

/** The plan that an act makes the page ask for. */
async function planAfter(act: () => Promise<void>): Promise<ListeningPlan> {
  const answer = page.waitForResponse(/api[/]plan/, { timeout: PREPARATION_MS })
  await act()
  const plan = unpackPlan(bytesOf(await (await answer).body()))
  await page.getByText(/^one gain of/).waitFor()
  return plan
}

/** With one decimal, as levels are written: nothing is never below nothing. */
function signed(db: number): string {
  const words = Math.abs(db).toFixed(1)
  return `${db > 0 ? '+' : words === '0.0' ? '' : '−'}${words}`
}

/** What the page reads in the middle of a 100 ms hop, which is what the plan says of it. */
async function readAt(hop: number): Promise<string> {
  const box = (await page.locator('.timeline').boundingBox())!
  // Names of lanes take 58 px at the left, 12 px are free at the right.
  await page.mouse.move(box.x + 58 + ((hop + 0.5) / 10 / SECONDS) * (box.width - 70), box.y + 200)
  return (await page.locator('output.reading').textContent())!
}

function wordsOf({ gain, moves }: ListeningPlan, hop: number): string {
  const { gainDb, lowestDb, highestDb } = moves!.ride!
  return (
    `gain ${signed(gain!.staticGainDb)} dB, ride ${signed(gainDb[hop]!)} dB ` +
    `(corridor ${signed(lowestDb[hop]!)} to ${signed(highestDb[hop]!)}), ceiling ${signed(moves!.ceilingLossDb![hop]!)} LU`
  )
}

const lowestHop = (points: Float64Array) => points.indexOf(Math.min(...points))

test('says how the fit is found, then reads the plan at the pointer: ride, corridor and ceiling', async () => {
  await openTitle()
  expect(await page.locator('.lane-words').textContent()).toContain('Find the fit')
  expect(await readAt(240)).not.toContain('ride')
  const plan = await planAfter(() => page.keyboard.press('f'))
  const { ride, ceilingLossDb } = plan.moves!
  expect(ride!.gainDb).toHaveLength(SECONDS * 10)
  for (const [hop, db] of ride!.gainDb.entries()) {
    expect(db).toBeGreaterThanOrEqual(ride!.lowestDb[hop]!)
    expect(db).toBeLessThanOrEqual(ride!.highestDb[hop]!)
  }
  // The ride goes down where the mix was raised, the ceiling acts where it was hit.
  const [deepest, hardest] = [lowestHop(ride!.gainDb), lowestHop(ceilingLossDb!)]
  expect(deepest / 10).toBeGreaterThan(17)
  expect(deepest / 10).toBeLessThan(31)
  expect(hardest / 10).toBeGreaterThan(39)
  expect(hardest / 10).toBeLessThan(45)
  expect(ride!.gainDb[deepest]!).toBeLessThan(-1)
  for (const hop of [5, deepest, hardest, 590]) expect(await readAt(hop)).toContain(wordsOf(plan, hop))
  const words = (await page.locator('.lane-words').textContent())!
  expect(words).toContain(signed(ride!.gainDb[deepest]!))
  expect(words).toContain(`${signed(-ceilingLossDb![hardest]!).slice(1)} LU`)
  await page.context().close()
})

test('the ride that is drawn meets the line: FFmpeg reads no short-term loudness above it in the delivery', async () => {
  await plimsollMust(['deliver', at('harbour-day.sheet.json'), '--out', at('delivered')], 0)
  const report = JSON.parse(readFileSync(at('delivered/report.json'), 'utf8'))
  await openTitle()
  const plan = await planAfter(() => page.getByRole('button', { name: 'Find the fit' }).click())
  const { rideDb, corridorDb, columnSeconds } = report.alteration.overTime
  expect([report.passes, columnSeconds]).toEqual([1, 0.1])
  const { ride } = plan.moves!
  for (const [hop, db] of ride!.gainDb.entries()) {
    expect(rideDb[hop]).toBeCloseTo(db, 1)
    expect(corridorDb.lowest[hop]).toBeCloseTo(ride!.lowestDb[hop]!, 1)
    expect(corridorDb.highest[hop]).toBeCloseTo(ride!.highestDb[hop]!, 1)
  }
  const { path } = report.deliverables.find(({ role }: { readonly role: string }) => role === 'mix-5.1')
  const { maxShortTermLkfs } = readWavByFfmpeg(at(`delivered/${path}`))
  expect(maxShortTermLkfs).toBeLessThanOrEqual(SHORT_TERM_LUFS)
  // Near the line, since the ride moves no more than it must.
  expect(maxShortTermLkfs).toBeGreaterThan(SHORT_TERM_LUFS - 0.5)
  await page.context().close()
})

test('a trim makes the fit anew, and what is read then is the new plan', async () => {
  await openTitle()
  const before = await planAfter(() => page.keyboard.press('f'))
  const after = await planAfter(async () => {
    await page
      .locator('.passage', { hasText: /0:00:(19|2\d)[.]/ })
      .first()
      .click()
    await page.keyboard.press('t')
    await page.keyboard.press('0')
  })
  const hop = lowestHop(before.moves!.ride!.gainDb)
  expect(after.moves).not.toEqual(before.moves)
  await page.locator('.timeline').focus()
  await page.keyboard.press('0')
  await expect.poll(() => readAt(hop)).toContain(wordsOf(after, hop))
  await page.keyboard.press('Control+z')
  await page.context().close()
})

test.each(['light', 'dark'] as const)('axe-core finds nothing to object to in the %s scheme', async (scheme) => {
  await openTitle(scheme)
  expect(await accessFaults(page)).toEqual([])
  await planAfter(() => page.keyboard.press('f'))
  expect(await accessFaults(page)).toEqual([])
  await page.context().close()
})
