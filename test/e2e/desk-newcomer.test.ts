// A newcomer at the desk with the regatta of the demo, which is too loud: from the shelf to a delivery, by the pointer
// and by keys alone; actions counted, a picture of every step kept in build/screens.
import { readFileSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import type { Browser, Page } from 'playwright-core'
import { afterAll, beforeAll, beforeEach, expect, test } from 'vitest'
import { harbourDay } from '../../demo/harbour-day.ts'
import { readLines } from '../../demo/voices/read-lines.ts'
import { writeWav } from '../../demo/wav.ts'
import { fileFolder, PREPARATION_MS, plimsollMust } from '../testkit/cli.ts'
import { type Desk, openBrowser, startDesk } from '../testkit/desk.ts'
import { readWavByFfmpeg, sha256 } from '../testkit/outside.ts'
import { keepScreen } from '../testkit/screens.ts'

const folder = fileFolder()
const at = (name: string) => join(folder, name)
const SHEET = 'harbour-day.sheet.json'
/** EBU R 128, in LUFS: the target, and how far a file programme may stand from it (EBU R 128, 2023, recommendation f). */
const TARGET_LUFS = -23
const TOLERANCE_LU = 0.2

let desk: Desk
let browser: Browser
let untouched: string

beforeAll(async () => {
  writeWav(at('harbour-day.wav'), harbourDay(await readLines()))
  await plimsollMust(['sheet', 'new', at('harbour-day.wav'), '--out', at(SHEET), '--spec', 'ebu-r128'], 0)
  untouched = readFileSync(at(SHEET), 'utf8')
  desk = await startDesk(folder)
  browser = await openBrowser()
}, PREPARATION_MS)
afterAll(async () => {
  await browser?.close()
  expect(await desk.stop()).toBe(0)
})
beforeEach(() => writeFileSync(at(SHEET), untouched))

async function openShelf(): Promise<Page> {
  const context = await browser.newContext({ viewport: { width: 1280, height: 800 }, acceptDownloads: true })
  const page = await context.newPage()
  page.on('pageerror', (error) => {
    throw error
  })
  await page.goto(desk.url)
  await page.getByRole('link', { name: /harbour-day/ }).waitFor()
  return page
}

const sheet = () => JSON.parse(readFileSync(at(SHEET), 'utf8'))
const rowOf = async (page: Page) => (await page.getByRole('row', { name: /programme loudness/ }).textContent())!
/** Total of the source and with the trims, as the page says them. */
const totalsOf = async (page: Page) => {
  const found = /(−\d+[.]\d) → (−\d+[.]\d)/.exec(await rowOf(page))
  return found === null ? null : found.slice(1).map((text) => Number(text.replace('−', '-')))
}

test('open, where is it too loud, fix, deliver: five actions; besides, what was done is heard, locked and taken home', async () => {
  const master = sha256(at('harbour-day.wav'))
  const page = await openShelf()
  await keepScreen(page, 'path-0-shelf', 2)
  let actions = 0
  const act = async (name: string, action: () => Promise<void>) => {
    await action()
    actions++
    await keepScreen(page, `path-${actions}-${name}`, 2)
  }
  await act('opened', async () => {
    await page.getByRole('link', { name: /harbour-day/ }).click()
    await page.locator('.passage', { hasText: 'too loud' }).first().waitFor({ timeout: PREPARATION_MS })
  })
  await act('where', async () => {
    await page.locator('.passage', { hasText: 'too loud' }).first().click()
    // The place that was asked for is seen, and what is to be done there.
    await page.getByText(/^The total is missed by/).waitFor()
  })
  await act('trimmed', async () => {
    await page.getByRole('button', { name: /^Trim by −/ }).click()
    await expect.poll(() => totalsOf(page)).not.toBeNull()
  })
  const [before, after] = (await totalsOf(page)) as [number, number]
  expect(Math.abs(before - readWavByFfmpeg(at('harbour-day.wav')).programmeLoudnessLkfs)).toBeLessThan(0.1)
  expect(after).toBeLessThan(before - 1)
  await act('deliver', () => page.getByRole('button', { name: 'Deliver' }).click())
  await act('delivered', async () => {
    await page.getByRole('dialog').getByRole('button', { name: 'Deliver', exact: true }).click()
    await page.getByText(/conforms to EBU R 128/).waitFor({ timeout: PREPARATION_MS })
  })
  expect(actions).toBeLessThanOrEqual(6)

  const report = await takenHome(page)
  const { path } = report.deliverables.find(({ role }: { readonly role: string }) => role === 'mix-5.1')
  const { programmeLoudnessLkfs } = readWavByFfmpeg(at(`deliveries/harbour-day/${path}`))
  expect(Math.abs(programmeLoudnessLkfs - TARGET_LUFS)).toBeLessThan(TOLERANCE_LU)
  expect(sha256(at('harbour-day.wav'))).toBe(master)
  await heardAndLocked(page)
  await page.context().close()
})

/** The report is opened beside the desk and kept as a PDF. */
async function takenHome(page: Page) {
  const opening = page.waitForEvent('popup')
  await page.getByRole('link', { name: 'Open the report' }).click()
  const paper = await opening
  await paper.setViewportSize({ width: 1280, height: 800 })
  await paper.getByRole('heading', { name: 'How it stands' }).waitFor()
  await keepScreen(paper, 'path-6-report', 2)
  await paper.close()
  const loading = page.waitForEvent('download')
  await page.getByRole('link', { name: 'keep it as a PDF' }).click()
  const bytes = readFileSync(await (await loading).path())
  expect(bytes.subarray(0, 5).toString()).toBe('%PDF-')
  expect(bytes.equals(readFileSync(at('deliveries/harbour-day/report.pdf')))).toBe(true)
  await page.keyboard.press('Escape')
  return JSON.parse(readFileSync(at('deliveries/harbour-day/report.json'), 'utf8'))
}

async function heardAndLocked(page: Page): Promise<void> {
  await page.getByRole('button', { name: 'Listen', exact: true }).click()
  await page.getByRole('button', { name: 'Play' }).click()
  const time = async () => Number(/(\d+[.]\d+)$/.exec((await page.locator('.transport .time').textContent())!)![1])
  await expect.poll(time, { timeout: 60_000 }).toBeGreaterThan(1)
  await page.getByRole('button', { name: 'Pause' }).click()
  await keepScreen(page, 'path-7-heard', 2)

  // Over the end of the trim, from 25 s to 35 s: the lock wins, and nothing that was decided contradicts itself.
  const box = (await page.locator('.timeline').boundingBox())!
  const x = (seconds: number) => box.x + 58 + (seconds / 60) * (box.width - 70)
  await page.locator('.timeline').focus()
  await page.keyboard.press('0')
  await page.mouse.move(x(25), box.y + 200)
  await page.mouse.down()
  await page.mouse.move(x(30), box.y + 200)
  await page.mouse.move(x(35), box.y + 200)
  await page.mouse.up()
  const trimmed = sheet().fit.trims[0].to
  await page.getByRole('button', { name: 'Lock: do not touch' }).click()
  await expect.poll(() => (sheet().fit.locks ?? []).length).toBe(1)
  expect(sheet().fit.trims[0].to).not.toBe(trimmed)
  expect(sheet().fit.trims[0].to).toBe(sheet().fit.locks[0].from)
  expect(await totalsOf(page)).not.toBeNull()
  await keepScreen(page, 'path-8-locked', 2)
  await plimsollMust(['sheet', 'check', at(SHEET)], 0)
}

/** Tab, until what has the focus is called so; everything on the way shows that it has it. */
async function tabTo(page: Page, name: RegExp, key: 'Tab' | 'Shift+Tab' = 'Tab'): Promise<void> {
  const passed: string[] = []
  for (let step = 0; step < 120; step++) {
    await page.keyboard.press(key)
    const focus = (await page.evaluate(`(() => {
      const it = document.activeElement
      const { outlineStyle, outlineWidth } = getComputedStyle(it)
      const label = it.labels?.[0]?.textContent ?? ''
      return {
        name: (it.getAttribute('aria-label') ?? (it.textContent || label || it.tagName)).trim(),
        isPage: it === document.body,
        isSeen: it.matches(':focus-visible') && outlineStyle !== 'none' && parseFloat(outlineWidth) >= 2,
      }
    })()`)) as { readonly name: string; readonly isPage: boolean; readonly isSeen: boolean }
    if (!focus.isPage) expect(focus, 'what has the focus shows it').toMatchObject({ isSeen: true })
    if (name.test(focus.name)) return
    passed.push(focus.name.slice(0, 40))
  }
  throw new Error(`Tab does not reach ${name}; it passes ${passed.join(', ')}`)
}

test('the same by keys alone: every step is reached, and what has the focus shows it', async () => {
  const page = await openShelf()
  const press = (key: string) => page.keyboard.press(key)
  await tabTo(page, /^harbour-day/)
  await press('Enter')
  await page.locator('.passage', { hasText: 'too loud' }).first().waitFor({ timeout: PREPARATION_MS })
  await tabTo(page, /too loud/)
  await press('Enter')
  await tabTo(page, /^Trim by −/)
  await press('Enter')
  await expect.poll(() => (sheet().fit?.trims ?? []).length).toBe(1)
  await expect.poll(() => totalsOf(page)).not.toBeNull()
  await tabTo(page, /^Adjust$/, 'Shift+Tab')
  await press('Enter')
  const gainDb = () => sheet().fit.trims[0].gainDb
  const suggestedDb = gainDb()
  // The button is gone, the slider that takes its place has its focus.
  await press('ArrowDown')
  await expect.poll(gainDb, { timeout: 5000 }).toBeCloseTo(suggestedDb - 0.1, 6)

  await tabTo(page, /^Listen$/, 'Shift+Tab')
  await press('Enter')
  await tabTo(page, /^Play$/)
  await press('Enter')
  await page.getByRole('button', { name: 'Pause' }).waitFor()
  await press('Enter')
  await page.getByRole('button', { name: 'Play' }).waitFor()

  await tabTo(page, /^Timeline of/, 'Shift+Tab')
  await press('End')
  for (let step = 0; step < 4; step++) await press('Shift+ArrowRight')
  await tabTo(page, /^Lock: do not touch/)
  await press('Enter')
  await expect.poll(() => (sheet().fit.locks ?? []).length, { timeout: 5000 }).toBe(1)

  await tabTo(page, /^Deliver$/, 'Shift+Tab')
  await press('Enter')
  await page.getByRole('dialog').waitFor()
  await tabTo(page, /^Deliver$/)
  await press('Enter')
  await page.getByText(/conforms to EBU R 128/).waitFor({ timeout: PREPARATION_MS })
  await tabTo(page, /^Open the report$/)
  const opening = page.waitForEvent('popup')
  await press('Enter')
  await (await opening).getByRole('heading', { name: 'How it stands' }).waitFor()
  await press('Escape')
  await tabTo(page, /^Shelf$/, 'Shift+Tab')
  await press('Enter')
  await page.getByText('the delivery conforms').waitFor()
  await page.context().close()
})
