// What the desk keeps over a restart, a power cut and between two pages on one title.
import { existsSync, readFileSync, rmSync, statSync, utimesSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import type { Browser, Page } from 'playwright-core'
import { afterAll, afterEach, beforeAll, beforeEach, expect, test } from 'vitest'
import { fileFolder, filesBelow, PREPARATION_MS } from '../testkit/cli.ts'
import { mixMaster } from '../testkit/cli-programmes.ts'
import { type Desk, openBrowser, startDesk } from '../testkit/desk.ts'
import { sha256 } from '../testkit/outside.ts'

const made = fileFolder()
let folder: string
let desk: Desk
let browser: Browser
const at = (name: string) => join(folder, name)
const sheet = () => JSON.parse(readFileSync(at('harbour-day.sheet.json'), 'utf8'))
const trims = () => (existsSync(at('harbour-day.sheet.json')) ? (sheet().fit?.trims ?? []).length : 0)

beforeAll(async () => {
  mixMaster(join(made, 'harbour-day.wav'), { seconds: 60, musicDb: -6 })
  browser = await openBrowser()
}, PREPARATION_MS)
afterAll(() => browser?.close())

beforeEach(async () => {
  folder = fileFolder()
  writeFileSync(at('harbour-day.wav'), readFileSync(join(made, 'harbour-day.wav')))
  desk = await startDesk(folder)
})
afterEach(async () => {
  await desk.stop()
})

async function openPage(): Promise<Page> {
  const page = await (await browser.newContext({ viewport: { width: 1280, height: 800 } })).newPage()
  page.on('pageerror', (error) => {
    throw error
  })
  await page.goto(desk.url)
  await page.getByRole('link', { name: /harbour-day/ }).waitFor()
  return page
}

async function openTitle(): Promise<Page> {
  const page = await openPage()
  await page.getByRole('link', { name: /harbour-day/ }).click()
  await page.getByRole('heading', { name: /Passages/ }).waitFor({ timeout: 60_000 })
  return page
}

async function select(page: Page): Promise<void> {
  await page.locator('.timeline').focus()
  await page.keyboard.press('Shift+ArrowRight')
}

const workTold = (page: Page) => page.locator('.work').count()

test('a desk that is started again shows how its titles stand, and opens them without measuring', async () => {
  const first = await openTitle()
  await select(first)
  await first.keyboard.press('t')
  await expect.poll(trims).toBe(1)
  await first.context().close()
  await desk.kill()

  desk = await startDesk(folder)
  const page = await openPage()
  await page.getByText('no spec named').waitFor()
  await page.getByText(/LKFS/).waitFor()
  expect(await page.getByRole('button', { name: 'Measure all' }).isDisabled()).toBe(true)
  const [cached] = filesBelow(folder).filter((path) => path.endsWith('.measured')) as [string]
  const writtenAt = statSync(at(cached)).mtimeMs
  await page.getByRole('link', { name: /harbour-day/ }).click()
  await page.getByRole('heading', { name: /Passages/ }).waitFor({ timeout: 60_000 })
  // Whatever is measured is written down.
  expect(statSync(at(cached)).mtimeMs).toBe(writtenAt)

  // Another spec needs more than was measured, and that is learnt as well.
  await page.getByRole('combobox', { name: 'Delivery spec' }).selectOption('ebu-r128')
  await page.getByRole('row', { name: /programme loudness/ }).waitFor({ timeout: 60_000 })
  await expect.poll(() => statSync(at(cached)).mtimeMs, { timeout: 60_000 }).toBeGreaterThan(writtenAt)
  await page.context().close()
})

test('what is broken, of other content or thrown away is measured again', async () => {
  await (await openTitle()).context().close()
  const [cached] = filesBelow(folder).filter((path) => path.endsWith('.measured')) as [string]
  const whole = readFileSync(at(cached))
  writeFileSync(at(cached), whole.subarray(0, whole.length - 1000))
  await desk.stop()
  desk = await startDesk(folder)
  await (await openTitle()).context().close()
  expect(readFileSync(at(cached)).length).toBeGreaterThan(whole.length - 500)

  rmSync(at('.plimsoll-cache'), { recursive: true })
  await desk.stop()
  desk = await startDesk(folder)
  const page = await openPage()
  await page.locator('.state.new').waitFor()
  await page.getByRole('link', { name: /harbour-day/ }).click()
  await page.getByRole('heading', { name: /Passages/ }).waitFor({ timeout: 60_000 })

  // Only the time of the file is another: its content is known. Other content under the same name is not.
  utimesSync(at('harbour-day.wav'), 1, 1)
  await page.getByRole('link', { name: 'Shelf', exact: true }).click()
  await page.locator('.state.new').waitFor()
  mixMaster(at('harbour-day.wav'), { seconds: 60, musicDb: -16 })
  await page.getByRole('link', { name: /harbour-day/ }).click()
  await page.getByRole('heading', { name: /Passages/ }).waitFor({ timeout: 60_000 })
  const after = filesBelow(folder).filter((path) => path.endsWith('.measured'))
  expect(after).toHaveLength(1)
  expect(after[0]).not.toBe(cached)
  await page.context().close()
})

test('a power cut in the middle of measuring and of delivering loses nothing that was decided', async () => {
  const master = sha256(at('harbour-day.wav'))
  const first = await openPage()
  await first.getByRole('button', { name: /^Measure/ }).click()
  await expect.poll(() => workTold(first)).toBe(1)
  await desk.kill()
  await first.getByText('The desk no longer answers').waitFor()
  await first.context().close()

  desk = await startDesk(folder)
  const second = await openTitle()
  await second.getByRole('combobox', { name: 'Delivery spec' }).selectOption('ebu-r128')
  await second.getByRole('row', { name: /programme loudness/ }).waitFor({ timeout: 60_000 })
  await select(second)
  await second.keyboard.press('t')
  await expect.poll(trims).toBe(1)
  await second.getByRole('button', { name: 'Deliver' }).click()
  await second.getByRole('dialog').getByRole('button', { name: 'Deliver', exact: true }).click()
  await second.getByText(/rendering|analysing|deciding/).waitFor({ timeout: 60_000 })
  await desk.kill()
  await second.context().close()

  desk = await startDesk(folder)
  const third = await openTitle()
  expect(trims()).toBe(1)
  await third.getByRole('button', { name: 'Deliver' }).click()
  await third.getByRole('dialog').getByRole('button', { name: 'Deliver', exact: true }).click()
  await third.getByRole('link', { name: 'Open the report' }).waitFor({ timeout: PREPARATION_MS })
  const report = JSON.parse(readFileSync(at('deliveries/harbour-day/report.json'), 'utf8'))
  expect(report.alteration.trims).toHaveLength(1)
  expect(filesBelow(at('deliveries')).filter((path) => /[.]part|plimsoll-work/.test(path))).toEqual([])
  expect(sha256(at('harbour-day.wav'))).toBe(master)
  await third.context().close()
})

test('of two pages on one title each shows what the other decides; it can be taken back in either', async () => {
  const [one, two] = [await openTitle(), await openTitle()]
  await select(one)
  await one.keyboard.press('t')
  await expect.poll(trims).toBe(1)
  await expect.poll(() => two.getByRole('button', { name: 'Undo' }).isEnabled()).toBe(true)
  await two.keyboard.press('Control+z')
  await expect.poll(trims).toBe(0)
  await expect.poll(() => one.getByRole('button', { name: 'Undo' }).isEnabled()).toBe(true)

  // An editor's change is a step as well.
  writeFileSync(
    at('harbour-day.sheet.json'),
    readFileSync(at('harbour-day.sheet.json'), 'utf8').replace('"name": "harbour-day"', '"name": "Harbour Day"'),
  )
  await one.getByRole('heading', { name: 'Harbour Day', exact: true }).waitFor()
  await two.getByRole('heading', { name: 'Harbour Day', exact: true }).waitFor()
  for (const page of [one, two]) await page.context().close()
})

test('another spec is a decision like others: what is chosen, pressed and heard meanwhile goes on, and it can be taken back', async () => {
  const page = await openTitle()
  const spec = page.getByRole('combobox', { name: 'Delivery spec' })
  await page.getByRole('button', { name: 'Listen', exact: true }).click()
  await page.getByRole('button', { name: 'Play' }).click()
  const time = async () => Number(/(\d+[.]\d+)$/.exec((await page.locator('.transport .time').textContent())!)![1])
  await expect.poll(time, { timeout: 60_000 }).toBeGreaterThan(0.5)
  await spec.selectOption('ebu-r128')
  // At once, while it is saved and measured.
  await select(page)
  await page.keyboard.press('t')
  await expect.poll(trims).toBe(1)
  await expect.poll(() => sheet().spec.id).toBe('ebu-r128')
  await page.locator('.passages .passage').first().waitFor({ timeout: 60_000 })
  await expect.poll(() => workTold(page)).toBe(0)
  const heard = await time()
  await expect.poll(time, { timeout: 60_000 }).toBeGreaterThan(heard)
  expect(await page.getByRole('alert').count()).toBe(0)

  await page.keyboard.press('Control+z')
  await expect.poll(trims).toBe(0)
  await page.keyboard.press('Control+z')
  await expect.poll(() => sheet().spec ?? null).toBe(null)
  expect(await spec.inputValue()).toBe('')
  await expect.poll(() => page.locator('.passages .passage').count(), { timeout: 60_000 }).toBe(0)
  await page.keyboard.press('Control+Shift+z')
  await page.keyboard.press('Control+Shift+z')
  await page.locator('.passages .passage').first().waitFor({ timeout: 60_000 })
  await expect.poll(trims).toBe(1)
  await page.context().close()
})
