// Scenes of an upmix at the desk, in a real browser: split, joined, glided, set, copied, suggested, taken back; what
// stands in the sheet afterwards is what the command line reads.
import { readFileSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import type { Browser, Page } from 'playwright-core'
import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { fileFolder, PREPARATION_MS, plimsoll, plimsollMust } from '../testkit/cli.ts'
import { mixMaster } from '../testkit/cli-programmes.ts'
import { accessFaults, type Desk, openBrowser, startDesk } from '../testkit/desk.ts'

const folder = fileFolder()
const at = (name: string) => join(folder, name)
const SHEET = 'saltmarsh-103.sheet.json'

let desk: Desk
let browser: Browser
let page: Page
let untouched: string

beforeAll(async () => {
  mixMaster(at('saltmarsh-103.wav'), { seconds: 40 })
  await plimsollMust(['sheet', 'new', at('saltmarsh-103.wav'), '--out', at(SHEET), '--spec', 'ebu-r128'], 0)
  untouched = readFileSync(at(SHEET), 'utf8')
  desk = await startDesk(folder)
  browser = await openBrowser()
}, PREPARATION_MS)

afterAll(async () => {
  await browser?.close()
  expect(await desk.stop()).toBe(0)
})

type Upmix = {
  readonly start?: string
  readonly settings?: object
  readonly scenes?: readonly {
    readonly from: string
    readonly to: string
    readonly glideInMs: number
    readonly glideOutMs: number
    readonly settings?: Readonly<Record<string, unknown>>
  }[]
}
const saved = (): Upmix => JSON.parse(readFileSync(at(SHEET), 'utf8')).upmix ?? {}
const scenes = () => saved().scenes ?? []
const settings = () => scenes().map((scene) => scene.settings ?? {})

async function openTitle(): Promise<void> {
  writeFileSync(at(SHEET), untouched)
  const context = await browser.newContext({ viewport: { width: 1280, height: 800 } })
  page = await context.newPage()
  page.on('pageerror', (error) => {
    throw error
  })
  await page.goto(desk.url)
  await page.getByRole('link', { name: /saltmarsh-103/ }).click()
  await page.getByRole('heading', { name: /Scenes of the upmix/ }).waitFor()
}

/** The point of the lane of scenes at an instant, in the page. */
async function inLane(seconds: number): Promise<readonly [number, number]> {
  const box = (await page.locator('.timeline').boundingBox())!
  // Names of lanes take 58 px at the left, 12 px are free at the right; the lane begins 68 px below the top.
  return [box.x + 58 + (seconds / 40) * (box.width - 70), box.y + 80]
}

async function drag(from: number, to: number): Promise<void> {
  await page.mouse.move(...(await inLane(from)))
  await page.mouse.down()
  await page.mouse.move(...(await inLane((from + to) / 2)))
  await page.mouse.move(...(await inLane(to)))
  await page.mouse.up()
}

describe('by keys alone', () => {
  test('split, set, copied, glided, joined, taken back and given again', async () => {
    await openTitle()
    await page.locator('.timeline').focus()
    // The reading line begins in the middle of what is seen.
    await page.keyboard.press('.')
    await page.keyboard.press('s')
    await expect.poll(() => scenes().length).toBe(2)
    await page.keyboard.press(']')
    await page.getByLabel('Scene', { exact: true }).waitFor()
    const share = page.getByRole('slider', { name: 'Ambience share' })
    await share.focus()
    await page.keyboard.press('Home')
    await expect.poll(settings).toEqual([{ ambienceShare: 0 }, {}])
    await page.keyboard.press('c')
    await page.keyboard.press(']')
    await page.keyboard.press('v')
    await expect.poll(settings).toEqual([{ ambienceShare: 0 }, { ambienceShare: 0 }])
    await page.keyboard.press('g')
    await expect.poll(() => scenes().map((scene) => scene.glideInMs)).toEqual([500, 750])
    expect(scenes()[0]!.glideOutMs).toBe(750)
    await page.keyboard.press('[')
    await page.keyboard.press('Shift+S')
    await expect.poll(() => scenes().length).toBe(1)
    await page.keyboard.press('Control+z')
    await expect.poll(() => scenes().length).toBe(2)
    for (let step = 0; step < 4; step++) await page.keyboard.press('Control+z')
    await expect.poll(() => readFileSync(at(SHEET), 'utf8')).toBe(untouched)
    await page.keyboard.press('Control+Shift+z')
    await expect.poll(() => scenes().length).toBe(2)
    expect((await plimsoll(['sheet', 'check', at(SHEET)])).code).toBe(0)
    await page.context().close()
  })
})

describe('with the pointer', () => {
  test('a border and its glide are dragged on the timeline, each as one step', async () => {
    await openTitle()
    await page.locator('.timeline').click({ position: { x: 400, y: 300 } })
    await page.getByRole('button', { name: 'Split at the cursor' }).click()
    await expect.poll(() => scenes().length).toBe(2)
    const border = seconds(scenes()[1]!.from)
    await drag(border, 30)
    await expect.poll(() => seconds(scenes()[1]?.from ?? '0:0:0')).toBeGreaterThan(29.5)
    expect(scenes()[0]!.to).toBe(scenes()[1]!.from)
    // Handles of short glides stand eight pixels from their border.
    const box = (await page.locator('.timeline').boundingBox())!
    const handle = seconds(scenes()[1]!.from) + (9 * 40) / (box.width - 70)
    await drag(handle, handle + 1)
    await expect.poll(() => scenes()[1]!.glideInMs).toBeGreaterThan(2300)
    expect(scenes()[1]!.glideInMs).toBeLessThan(2700)
    await page.getByRole('button', { name: 'Undo' }).click()
    await expect.poll(() => scenes()[1]!.glideInMs).toBe(500)
    await page.getByRole('button', { name: 'Undo' }).click()
    await expect.poll(() => seconds(scenes()[1]!.from)).toBeCloseTo(border, 2)
    await page.context().close()
  })

  test('settings are typed, started from, and given back to the title; the title has settings of its own', async () => {
    await openTitle()
    await page.getByRole('button', { name: /whole title/ }).click()
    await page.getByRole('combobox', { name: /starts from/ }).selectOption('live-music')
    await page.getByRole('textbox', { name: /LFE gain as a number/ }).fill('-10')
    await page.keyboard.press('Enter')
    await expect.poll(saved).toEqual({ start: 'live-music', settings: { lfeGainDb: -10 } })
    // What is out of range is brought to its border.
    await page.getByRole('textbox', { name: /surround delay as a number/ }).fill('400')
    await page.keyboard.press('Enter')
    await expect.poll(() => saved().settings).toEqual({ lfeGainDb: -10, surroundDelayMs: 40 })
    await page.getByRole('button', { name: 'surround delay: as it starts' }).click()
    await expect.poll(() => saved().settings).toEqual({ lfeGainDb: -10 })
    expect(await accessFaults(page)).toEqual([])
    await page.context().close()
  })

  test('suggested scenes are those of the command line, and one step back takes them away', async () => {
    const suggested = join(fileFolder(), 'suggested.sheet.json')
    await plimsollMust(['upmix', at('saltmarsh-103.wav'), '--suggest-scenes', '--write', suggested], 0)
    const { upmix } = JSON.parse(readFileSync(suggested, 'utf8'))
    await openTitle()
    await page.getByRole('button', { name: 'Suggest scenes' }).click()
    await expect.poll(saved, { timeout: 120_000 }).toEqual(upmix)
    await page.locator('.scenes .passage').nth(1).click()
    for (const colorScheme of ['light', 'dark'] as const) {
      await page.emulateMedia({ colorScheme })
      for (const viewport of [
        { width: 1280, height: 800 },
        { width: 3840, height: 2160 },
      ]) {
        await page.setViewportSize(viewport)
        expect(await accessFaults(page)).toEqual([])
      }
    }
    await page.getByRole('button', { name: 'Undo' }).click()
    await expect.poll(() => readFileSync(at(SHEET), 'utf8')).toBe(untouched)
    await page.context().close()
  })
})

/** H:MM:SS.mmm in seconds. */
function seconds(instant: string): number {
  const [hours, minutes, rest] = instant.split(':').map(Number) as [number, number, number]
  return (hours * 60 + minutes) * 60 + rest
}
