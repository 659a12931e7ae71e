// Every screen of the desk, each by day and at night: axe-core objects to nothing, and a picture is kept in build/screens.
import { mkdirSync, readFileSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import type { Browser, Page } from 'playwright-core'
import { afterAll, beforeAll, expect, test } from 'vitest'
import { fileFolder, PREPARATION_MS, plimsollMust } from '../testkit/cli.ts'
import { ffmpeg, mixMaster } from '../testkit/cli-programmes.ts'
import { accessFaults, type Desk, openBrowser, startDesk } from '../testkit/desk.ts'
import { readWavByFfmpeg } from '../testkit/outside.ts'
import { keepScreen } from '../testkit/screens.ts'

const folder = fileFolder()
const bare = fileFolder()
const at = (name: string) => join(folder, name)
const asked = fileFolder()
const PAN = 'pan=5.1(side)|c0=c0|c1=c1|c2=0.7*c0+0.7*c1|c3=0.2*c0|c4=0.5*c0-0.3*c1|c5=0.5*c1-0.2*c0'
/** EBU R 128: the target of a programme in LUFS. */
const TARGET_LUFS = -23

let desk: Desk
let browser: Browser
let page: Page

beforeAll(async () => {
  mixMaster(at('level.wav'), { musicDb: -20, speechDb: -9, seconds: 20 })
  await titleOf('two-track', ['-af', 'volume=3dB'])
  await titleOf('too-loud', ['-af', `${PAN},volume=6dB`])
  await titleOf('at-sea-level', ['-af', await onTarget('stereo.wav', 'anull')])
  // The 5.1 stands on its target and its fold-down does not: it conforms, and has to be listened to.
  await titleOf('needs-ears', ['-af', await onTarget('surround.wav', `${PAN},volume=-12dB`)])
  mkdirSync(at('broken'))
  writeFileSync(at('broken/empty.wav'), '')
  desk = await startDesk(folder)
  browser = await openBrowser()
  page = await openPage(desk)
}, PREPARATION_MS)
afterAll(async () => {
  await browser?.close()
  await desk?.stop()
})

async function titleOf(name: string, made: readonly string[]): Promise<void> {
  ffmpeg('-i', at('level.wav'), ...made, '-c:a', 'pcm_s24le', at(`${name}.wav`))
  await plimsollMust(
    ['sheet', 'new', at(`${name}.wav`), '--out', at(`${name}.sheet.json`), '--spec', 'ebu-r128', '--quiet'],
    0,
  )
}

/** A filter, and the gain behind it that brings the mix to its target. */
async function onTarget(name: string, filter: string): Promise<string> {
  const path = join(asked, name)
  ffmpeg('-i', at('level.wav'), '-af', filter, '-c:a', 'pcm_s24le', path)
  const { programmeLoudnessLkfs } = readWavByFfmpeg(path)
  return `${filter},volume=${TARGET_LUFS - programmeLoudnessLkfs}dB`
}

async function openPage({ url }: Desk): Promise<Page> {
  const context = await browser.newContext({ viewport: { width: 1280, height: 800 } })
  const opened = await context.newPage()
  opened.on('pageerror', (error) => {
    throw error
  })
  await opened.goto(url)
  return opened
}

/** The screen as it stands, in both schemes. */
async function look(name: string, seen: Page = page): Promise<void> {
  const faults: string[] = []
  await keepScreen(seen, name, 1, async (scheme) => {
    faults.push(...(await accessFaults(seen)).map((fault) => `${name}, ${scheme}: ${fault}`))
  })
  expect(faults).toEqual([])
}

const press = (name: string | RegExp) =>
  page.getByRole('button', typeof name === 'string' ? { name, exact: true } : { name }).click()

async function open(name: string): Promise<void> {
  await page.goto(`${new URL('/', desk.url).href}#shelf`)
  await page.getByRole('link', { name: new RegExp(`^${name}`) }).click()
  await page.getByRole('heading', { name: /Passages/ }).waitFor({ timeout: PREPARATION_MS })
}

async function inBox(name: string, opener: string | RegExp): Promise<void> {
  await press(opener)
  await page.getByRole('dialog').waitFor()
  await look(name)
  await page.keyboard.press('Escape')
}

test('the empty shelf, and the ways to put something there', async () => {
  const other = await startDesk(bare)
  const empty = await openPage(other)
  await empty.getByRole('heading', { name: 'Nothing lies here yet' }).waitFor()
  await look('shelf-empty', empty)
  await empty.getByRole('button', { name: 'Add titles' }).click()
  await look('shelf-adding', empty)
  await empty.getByLabel('Path on this machine').fill('nowhere.wav')
  await empty.keyboard.press('Enter')
  await empty.getByText(/nothing there/).waitFor()
  await look('shelf-adding-refused', empty)
  await empty.keyboard.press('Escape')
  await other.stop()
  await empty.getByText('The desk no longer answers').waitFor()
  await look('desk-lost', empty)
  await empty.context().close()
})

test('the full shelf: titles in every state, sorted, sought, and while they are worked on', async () => {
  await page.getByRole('link', { name: /two-track/ }).waitFor()
  await look('shelf-new')
  await press(/^Measure/)
  await page.getByRole('progressbar').first().waitFor()
  await look('shelf-working')
  const states = async () => {
    const rows = await page.locator('.title-row').all()
    const told = rows.map(async (row) => [
      await row.locator('.name b').textContent(),
      await row.locator('.state').textContent(),
    ])
    return Object.fromEntries(await Promise.all(told))
  }
  await expect.poll(states, { timeout: 120_000 }).toEqual({
    'at-sea-level': 'conforms',
    empty: 'cannot be read',
    level: 'no spec named',
    'needs-ears': 'needs ears',
    'too-loud': 'does not conform',
    'two-track': 'does not conform',
  })
  await look('shelf-full')
  await page.getByRole('combobox', { name: 'Sort by' }).selectOption('state')
  await expect.poll(() => page.locator('.title-row .name b').first().textContent()).toBe('empty')
  await page.getByRole('combobox', { name: 'Sort by' }).selectOption('margin')
  await expect.poll(() => page.locator('.title-row .name b').first().textContent()).toBe('too-loud')
  await page.getByRole('searchbox').fill('ebb tide')
  await page.getByText('No title has “ebb tide” in its name.').waitFor()
  await look('shelf-sought')
})

test('a title that cannot be read, one without a spec, one that conforms, one that needs ears', async () => {
  await page.goto(`${new URL('/', desk.url).href}#title/${encodeURIComponent('broken/empty.wav')}`)
  await page.getByRole('alert').waitFor()
  await look('title-refused')
  for (const name of ['level', 'at-sea-level', 'needs-ears']) {
    await open(name)
    await look(`title-${name}`)
  }
})

test('a title that is too loud: passages, trims, locks, waivers, the boxes over it', async () => {
  await open('too-loud')
  await look('title-too-loud')
  await page.locator('.passage').first().click()
  await look('title-passage')
  await press('Trim by hand')
  await page.getByLabel('gain', { exact: true }).waitFor()
  await look('title-trim')
  await page.locator('.passage').first().click()
  await page.getByText(/^Trimmed by/).waitFor()
  await look('title-passage-trimmed')
  await page.locator('.timeline').focus()
  await page.keyboard.press('Shift+ArrowRight')
  await look('title-selection')
  await press('Lock: do not touch')
  await page.getByRole('button', { name: 'Unlock' }).waitFor()
  await look('title-locked')
  await page.locator('.standing').getByRole('button', { name: 'waive', exact: true }).first().click()
  await page.getByLabel(/^Why need this title not meet the line/).fill('agreed with the recipient')
  await look('title-waiving')
  await press('Waive the line')
  await page.locator('.standing').getByRole('button', { name: 'waived' }).waitFor()
  await look('title-waived')
  await inBox('box-sheet', 'Sheet')
  await inBox('box-keys', 'Keys')
  await inBox('box-deliver', 'Deliver')
})

test('listening, the fit, and the calibration of the room', async () => {
  await press('Listen')
  await look('title-listening')
  await page.keyboard.press('f')
  await page.getByText(/one gain of/).waitFor({ timeout: PREPARATION_MS })
  await look('title-fit')
  await inBox('box-calibration', 'Calibrate')
})

test('scenes of an upmix and their settings', async () => {
  await open('two-track')
  await page.locator('.timeline').click({ position: { x: 400, y: 300 } })
  await press('Split at the cursor')
  await page.keyboard.press(']')
  await page.getByLabel('Scene', { exact: true }).waitFor()
  await look('title-scene')
  await press(/whole title/)
  await look('title-scenes-whole')
})

test('a delivery on its way, its outcome, what lay there before, and the report', async () => {
  await press('Deliver')
  await page.getByRole('dialog').getByRole('button', { name: 'Deliver', exact: true }).click()
  await page.getByRole('dialog').getByRole('progressbar').waitFor({ timeout: PREPARATION_MS })
  await look('box-delivering')
  await page.getByRole('link', { name: 'Open the report' }).waitFor({ timeout: PREPARATION_MS })
  await look('box-delivered')
  await page.keyboard.press('Escape')
  await press('Deliver')
  await page.getByRole('region', { name: 'Delivered before' }).waitFor()
  await look('box-delivered-before')
  await page.goto(
    new URL((await page.getByRole('link', { name: 'Open the report' }).getAttribute('href'))!, desk.url).href,
  )
  await page.getByRole('heading', { name: 'How it stands' }).waitFor()
  await look('report')
})

test('a sheet from elsewhere that contradicts itself is told, and nothing is lost', async () => {
  await open('at-sea-level')
  const sheet = JSON.parse(readFileSync(at('at-sea-level.sheet.json'), 'utf8'))
  const stretch = { from: '0:00:02.000', to: '0:00:04.000' }
  const fit = {
    ...sheet.fit,
    trims: [{ ...stretch, gainDb: -6, glideMs: 100 }],
    locks: [{ ...stretch, toleranceDb: 0 }],
  }
  writeFileSync(at('at-sea-level.sheet.json'), JSON.stringify({ ...sheet, fit }))
  await page
    .getByRole('alert')
    .getByText(/^Nothing of the sheet holds here: .*-6 dB inside/)
    .waitFor()
  await look('title-contradiction')
  await page.keyboard.press('Control+z')
  await expect.poll(() => page.getByRole('alert').count()).toBe(0)
})
