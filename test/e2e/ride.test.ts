// Riding by hand in a real browser: the fader is moved by keys and by mouse while real music plays, becomes a hand ride of
// the sheet as one step, and is found again in the words that are delivered, read by NumPy.
import { existsSync, readFileSync } from 'node:fs'
import { join } from 'node:path'
import type { Browser, Page } from 'playwright-core'
import { afterAll, beforeAll, expect, test } from 'vitest'
import { fileFolder, PREPARATION_MS, plimsollMust } from '../testkit/cli.ts'
import { mixMaster } from '../testkit/cli-programmes.ts'
import { accessFaults, type Desk, openBrowser, startDesk } from '../testkit/desk.ts'
import { byNumpy } from '../testkit/outside.ts'

const folder = fileFolder()
const at = (name: string) => join(folder, name)
const SHEET = 'harbour-day.sheet.json'

type Ride = { readonly from: string; readonly to: string; readonly points: readonly { at: string; gainDb: number }[] }

let desk: Desk
let browser: Browser
let page: Page
const sheet = () => JSON.parse(readFileSync(at(SHEET), 'utf8'))
const rides = (): readonly Ride[] => (existsSync(at(SHEET)) ? (sheet().fit?.handRides ?? []) : [])

beforeAll(async () => {
  mixMaster(at('harbour-day.wav'), { seconds: 60, musicDb: -12, speechDb: -9 })
  await plimsollMust(['sheet', 'new', at('harbour-day.wav'), '--out', at(SHEET), '--spec', 'ebu-r128'], 0)
  desk = await startDesk(folder)
  browser = await openBrowser()
  page = await (await browser.newContext({ viewport: { width: 1280, height: 800 } })).newPage()
  page.on('pageerror', (error) => {
    throw error
  })
  await page.goto(desk.url)
  await page.getByRole('link', { name: /harbour-day/ }).click()
  await page.getByRole('button', { name: 'Listen', exact: true }).click({ timeout: 60_000 })
}, PREPARATION_MS)
afterAll(async () => {
  await browser?.close()
  await desk.stop()
})

const seconds = (text: string) =>
  text
    .trim()
    .split(':')
    .reduce((sum, part) => sum * 60 + Number(part), 0)
const heardAt = async () => seconds((await page.locator('.transport .time').textContent())!)
const plays = async (more: number) => {
  const until = (await heardAt()) + more
  await expect.poll(heardAt, { timeout: 60_000, interval: 50 }).toBeGreaterThan(until)
}
const fader = () => page.getByRole('slider', { name: 'Fader' })

test('by keys: what the fader does while it plays is a ride of the sheet, one step back and one forward', async () => {
  expect(await fader().isDisabled()).toBe(true)
  await page.locator('.timeline').focus()
  await page.keyboard.press('r')
  await page.getByRole('button', { name: 'Pause' }).waitFor()
  // A ride is heard: not the source any more.
  expect(await page.getByRole('button', { name: 'With trims' }).getAttribute('aria-pressed')).toBe('true')
  await plays(1)
  for (let press = 0; press < 12; press++) await page.keyboard.press('ArrowDown')
  expect(await fader().inputValue()).toBe('-6')
  await plays(3)
  expect(await accessFaults(page)).toEqual([])
  await page.keyboard.press('r')
  await expect.poll(() => rides().length).toBe(1)
  await page.getByText(/written: \d+ points, within 0.05 dB/).waitFor()
  const written = rides()
  const gains = written[0]!.points.map(({ gainDb }) => gainDb)
  expect(gains[0]).toBe(0)
  expect(Math.min(...gains)).toBe(-6)
  expect(gains.at(-1)).toBeGreaterThan(-2)
  expect(gains.length).toBeLessThan(30)
  await page.keyboard.press('k')

  await page.keyboard.press('Control+z')
  await expect.poll(() => rides().length).toBe(0)
  await page.keyboard.press('Control+Shift+z')
  await expect.poll(rides).toEqual(written)
})

test('by mouse: moving the fader while it plays punches in, and undo while riding throws the take away', async () => {
  const before = rides()
  await page.getByRole('button', { name: 'Play' }).click()
  await plays(0.5)
  const box = (await fader().boundingBox())!
  await page.mouse.click(box.x + box.width * 0.9, box.y + box.height / 2)
  await page.getByRole('button', { name: 'End the ride' }).waitFor()
  await plays(1)
  await page.keyboard.press('Control+z')
  await page.getByRole('button', { name: 'Ride by hand' }).waitFor()
  await page.keyboard.press('k')
  expect(rides()).toEqual(before)

  await page.getByRole('button', { name: 'Play' }).click()
  await plays(0.5)
  await page.mouse.click(box.x + box.width * 0.5, box.y + box.height / 2)
  await plays(2)
  // Stopping ends it.
  await page.getByRole('button', { name: 'Pause' }).click()
  await expect.poll(() => rides().length).toBeGreaterThan(before.length)
  await page.keyboard.press('Control+z')
  await expect.poll(rides).toEqual(before)
})

test('the delivery has it: the words in the ride against those outside of it, and the spec is met around it', async () => {
  const [ride] = rides()
  // Held in the middle of it; points are written within 0.05 dB of what was heard.
  const held = ride!.points.filter(({ gainDb }) => gainDb < -5.94).map((point) => seconds(point.at))
  const [from, to] = [Math.min(...held) + 0.2, Math.max(...held) - 0.2]
  expect(to - from).toBeGreaterThan(1)
  const { deliverables, conforms } = await plimsollMust(['deliver', at(SHEET), '--out', at('out'), '--json'], 0).then(
    ({ stdout }) => JSON.parse(stdout),
  )
  expect(conforms).toBe(true)
  const stereo = deliverables.find(({ role }: { readonly role: string }) => role === 'lo-ro').path
  const gainWithin = (start: number, end: number) =>
    byNumpy<{ readonly gainDb: number }>('gain_within', at('harbour-day.wav'), join(at('out'), stereo), start, end)
      .gainDb
  expect(Math.abs(gainWithin(from, to) - gainWithin(to + 20, to + 30) + 6)).toBeLessThan(0.05)
})
