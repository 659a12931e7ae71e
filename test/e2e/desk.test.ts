// The desk in a real browser, on real music and speech with a stretch raised on purpose: where is it too loud, trim it
// there, deliver. And what the desk refuses to strangers.
import { existsSync, mkdirSync, readFileSync, writeFileSync } from 'node:fs'
import { request } from 'node:http'
import { join } from 'node:path'
import type { Browser, Page } from 'playwright-core'
import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { readSheetFile } from '../../src/protocol/index.ts'
import { fileFolder, PREPARATION_MS, plimsollMust } from '../testkit/cli.ts'
import { ffmpeg, mixMaster } from '../testkit/cli-programmes.ts'
import { accessFaults, type Desk, openBrowser, startDesk } from '../testkit/desk.ts'
import { readWavByFfmpeg, sha256 } from '../testkit/outside.ts'

const folder = fileFolder()
const at = (name: string) => join(folder, name)
const SHEET = 'harbour-day.sheet.json'
/** When it was raised, as FFmpeg says it. */
const PUSHED = 'between(t,20,28)'

let desk: Desk
let browser: Browser

beforeAll(async () => {
  mixMaster(at('level.wav'), { musicDb: -20, speechDb: -9, seconds: 60 })
  const pushed = `volume=10dB:enable='${PUSHED}'`
  ffmpeg('-i', at('level.wav'), '-af', pushed, '-c:a', 'pcm_s24le', at('harbour-day.wav'))
  await plimsollMust(['sheet', 'new', at('harbour-day.wav'), '--out', at(SHEET), '--spec', 'ebu-r128-s1'], 0)
  mkdirSync(at('broken'))
  writeFileSync(at('broken/empty.wav'), '')
  desk = await startDesk(folder)
  browser = await openBrowser()
}, PREPARATION_MS)

afterAll(async () => {
  await browser?.close()
  expect(await desk.stop()).toBe(0)
})

async function openDesk(more: { readonly colorScheme?: 'light' | 'dark' } = {}): Promise<Page> {
  const context = await browser.newContext({ viewport: { width: 1280, height: 800 }, ...more })
  const page = await context.newPage()
  page.on('pageerror', (error) => {
    throw error
  })
  await page.goto(desk.url)
  return page
}

const total = async (page: Page) => {
  const row = await page.getByRole('row', { name: /programme loudness/ }).textContent()
  return Number(/(−\d+[.]\d)−23/.exec(row!)![1]!.replace('−', '-'))
}

test('a newcomer finds where it is too loud, trims it and delivers, in five actions', async () => {
  const master = sha256(at('harbour-day.wav'))
  const page = await openDesk()
  await page.getByRole('link', { name: /harbour-day/ }).click()
  // Found within half a second of where it was raised.
  await page.locator('.passage', { hasText: /0:00:(19[.][5-9]|20[.][0-4])/ }).click()
  await page.getByRole('button', { name: /^Trim by −/ }).click()
  const { fit } = await savedSheet((sheet) => sheet.fit.trims.length === 1)
  const [trim] = fit.trims
  // The same gain by FFmpeg, and its own reading of that file.
  const [from, to] = [trim!.from, trim!.to].map(secondsOf)
  ffmpeg(
    '-i',
    at('harbour-day.wav'),
    '-af',
    `volume=${trim!.gainDb}dB:enable='between(t,${from},${to})'`,
    '-c:a',
    'pcm_s24le',
    at('by-hand.wav'),
  )
  const { programmeLoudnessLkfs } = readWavByFfmpeg(at('by-hand.wav'))
  expect(await total(page)).toBeCloseTo(programmeLoudnessLkfs, 0)
  expect(Math.abs((await total(page)) - programmeLoudnessLkfs)).toBeLessThan(0.1)

  await page.getByRole('button', { name: 'Deliver' }).click()
  await page.getByRole('dialog').getByRole('button', { name: 'Deliver', exact: true }).click()
  const link = page.getByRole('link', { name: 'Open the report' })
  await link.waitFor({ timeout: PREPARATION_MS })
  const report = JSON.parse(readFileSync(at('deliveries/harbour-day/report.json'), 'utf8'))
  expect(report.conforms).toBe(true)
  expect(report.alteration.trims).toHaveLength(1)
  const address = new URL((await link.getAttribute('href'))!, desk.url).href
  expect(await (await page.request.get(address)).text()).toContain('EBU R 128 s1')
  expect(sha256(at('harbour-day.wav'))).toBe(master)
  await page.context().close()
})

test('the same by keys alone, taken back and given again', async () => {
  const page = await openDesk()
  await page.getByRole('link', { name: /harbour-day/ }).waitFor()
  await page.getByRole('link', { name: /harbour-day/ }).focus()
  await page.keyboard.press('Enter')
  await page.getByRole('heading', { name: /Passages/ }).waitFor()
  const trims = () => page.locator('.passage', { hasText: 'trimmed' }).count()
  const before = await trims()
  await page.keyboard.press('n')
  await page.keyboard.press('t')
  await expect.poll(trims).toBeGreaterThanOrEqual(Math.max(1, before))
  await page.keyboard.press('Control+z')
  await expect.poll(trims).toBe(before)
  await page.keyboard.press('Control+Shift+z')
  await expect.poll(trims).toBeGreaterThanOrEqual(1)
  await page.keyboard.press('?')
  await page.getByRole('dialog', { name: 'Keys' }).waitFor()
  await page.keyboard.press('Escape')
  await page.context().close()
})

test('a decision made just before the title is left is saved', async () => {
  const page = await openDesk()
  await page.getByRole('link', { name: /harbour-day/ }).click()
  await page.getByRole('heading', { name: /Passages/ }).waitFor()
  const { fit } = await savedSheet(() => true)
  await page.keyboard.press('n')
  await page.keyboard.press('t')
  await page.getByRole('link', { name: 'Shelf', exact: true }).click()
  await page.getByRole('list', { name: 'Titles' }).waitFor()
  await savedSheet((sheet) => JSON.stringify(sheet.fit.trims) !== JSON.stringify(fit.trims))
  expect(new URL(page.url()).hash).toBe('#shelf')
  await page.context().close()
})

test('plays the file: time goes on from the chosen passage, muted-down at first, and stops when told', async () => {
  const page = await openDesk()
  await page.getByRole('link', { name: /harbour-day/ }).click()
  await page.getByRole('button', { name: 'Listen', exact: true }).click()
  await page.getByText('−30 dB').waitFor()
  await page.locator('.passage').first().click()
  await page.getByRole('button', { name: 'Play' }).click()
  const time = async () => secondsOf((await page.locator('.transport .time').textContent())!)
  const start = await time()
  await expect.poll(time, { timeout: 60_000 }).toBeGreaterThan(start + 1)
  // The meters of what is heard: after three seconds short-term is known, and each output has a peak.
  const meters = async () => page.getByRole('region', { name: /^Meters/ }).textContent()
  await expect.poll(meters, { timeout: 60_000 }).toMatch(/momentary−\d+\.\dshort-term−\d+\.\dLKFS/)
  expect(await meters()).toMatch(/Lo [−\d.]+.*Ro [−\d.]+.*dBTP/)
  expect(await accessFaults(page)).toEqual([])
  const heard = () => page.getByRole('group', { name: 'Channels that are heard' }).locator('[aria-pressed=true]')
  await page.keyboard.press('3')
  expect(await heard().allInnerTexts()).toEqual(['C'])
  await page.keyboard.press('3')
  expect(await heard().count()).toBe(6)
  await page.keyboard.press('Shift+Digit4')
  expect(await heard().allInnerTexts()).toEqual(['L', 'R', 'C', 'Ls', 'Rs'])
  await page.getByRole('button', { name: 'Taken away' }).click()
  await page.getByRole('button', { name: 'Pause' }).click()
  await page.getByRole('button', { name: 'Play' }).waitFor()
  await page.context().close()
})

test('the room is calibrated: noise from each loudspeaker, what is read, and the monitor shown from the reference', async () => {
  const page = await openDesk()
  await page.getByRole('link', { name: /harbour-day/ }).click()
  await page.getByRole('button', { name: 'Listen', exact: true }).click()
  await page.getByRole('button', { name: 'Calibrate' }).click()
  await page.getByRole('button', { name: 'Play the noise from L' }).click()
  await page.getByRole('button', { name: 'Stop the noise from L' }).waitFor()
  expect(await accessFaults(page)).toEqual([])
  // Both read 61 dB SPL with the monitor at -30 dB: 79 stand at 18 dB more.
  await page.getByLabel('L reads, in dB SPL').fill('161')
  await page.getByText('a level from 30 to 110 dB SPL').waitFor()
  for (const side of ['L', 'R']) {
    await page.getByLabel(`${side} reads, in dB SPL`).fill('61')
    await page.getByLabel(`${side} reads, in dB SPL`).press('Enter')
  }
  await page.getByText('79 dB SPL stands at a monitor gain of −12.0 dB').waitFor()
  await page.getByRole('button', { name: '82', exact: true }).click()
  await page.getByText('82 dB SPL stands at a monitor gain of −9.0 dB').waitFor()
  await page.keyboard.press('Escape')
  const monitor = () => page.getByRole('slider', { name: 'monitor' }).getAttribute('aria-valuetext')
  expect(await monitor()).toBe('−21.0 dB re 82 dB SPL')
  // It belongs to the room: it is there again with the next title and after the page was loaded anew.
  await page.reload()
  await page.getByRole('button', { name: 'Listen', exact: true }).click()
  expect(await monitor()).toBe('−21.0 dB re 82 dB SPL')
  await page.getByRole('button', { name: 'Calibrate' }).click()
  await page.getByRole('button', { name: 'Forget the readings' }).click()
  expect(await page.getByLabel('L reads, in dB SPL').inputValue()).toBe('')
  await page.keyboard.press('Escape')
  expect(await monitor()).toBe('−30 dB')
  await page.context().close()
})

test('a sheet that somebody else changed is not overwritten', async () => {
  const page = await openDesk()
  await page.getByRole('link', { name: /harbour-day/ }).click()
  await page.getByRole('heading', { name: /Passages/ }).waitFor()
  // The page does not hear of the change before it saves one of its own.
  await page.route('**/api/sheet?*', (route) => (route.request().method() === 'GET' ? route.abort() : route.continue()))
  const text = readFileSync(at(SHEET), 'utf8').replace('"name": "harbour-day"', '"name": "Harbour Day"')
  writeFileSync(at(SHEET), text)
  await page.locator('.passage').first().click()
  await page.getByRole('button', { name: 'Take it away' }).click()
  await page.getByText(/not saved: .*changed by somebody else/).waitFor()
  expect(readFileSync(at(SHEET), 'utf8')).toBe(text)
  await page.context().close()
})

test('a file that cannot be read says why, on the shelf', async () => {
  const page = await openDesk()
  await page.getByRole('button', { name: /^Measure/ }).click()
  await page.getByText(/Cannot read .*empty.wav.*found an empty file/).waitFor()
  await page.context().close()
})

describe.each(['light', 'dark'] as const)('in the %s scheme', (colorScheme) => {
  test('axe-core finds nothing to object to on any screen', async () => {
    const page = await openDesk({ colorScheme })
    await page
      .getByRole('link', { name: /arbour/ })
      .first()
      .waitFor()
    expect(await accessFaults(page)).toEqual([])
    await page
      .getByRole('link', { name: /Harbour Day|harbour-day/ })
      .first()
      .click()
    await page.getByRole('heading', { name: /Passages/ }).waitFor()
    expect(await accessFaults(page)).toEqual([])
    await page.getByRole('button', { name: 'Listen', exact: true }).click()
    await page.locator('.passage').first().click()
    expect(await accessFaults(page)).toEqual([])
    for (const name of ['Sheet', 'Keys', 'Deliver']) {
      await page.getByRole('button', { name }).click()
      await page.getByRole('dialog').waitFor()
      expect(await accessFaults(page)).toEqual([])
      await page.keyboard.press('Escape')
    }
    await page.context().close()
  })
})

describe('strangers', () => {
  const ask = (path: string, headers: Readonly<Record<string, string>>) =>
    new Promise<number | undefined>((resolve, reject) => {
      const { port } = new URL(desk.url)
      const asked = request({ host: '127.0.0.1', port, path, headers }, (answer) => {
        answer.resume()
        resolve(answer.statusCode)
      })
      asked.on('error', reject)
      asked.end()
    })
  const own = () => ({ host: new URL(desk.url).host })

  test('without the token, or with a wrong one, get nothing', async () => {
    expect(await ask('/api/shelf', own())).toBe(401)
    expect(await ask('/?token=guessed', own())).toBe(401)
    expect(await ask('/api/shelf', { ...own(), cookie: 'plimsoll-desk=guessed' })).toBe(401)
  })

  test('under another name, as after DNS rebinding, get nothing even with the token', async () => {
    const token = new URL(desk.url).searchParams.get('token')
    expect(await ask(`/?token=${token}`, { host: 'desk.example' })).toBe(421)
    const cookie = `plimsoll-desk=${token}`
    expect(await ask('/api/shelf', { ...own(), cookie, origin: 'http://desk.example' })).toBe(403)
    expect(await ask('/api/shelf', { ...own(), cookie })).toBe(200)
  })

  test('cannot reach a file that is not on the shelf', async () => {
    const cookie = `plimsoll-desk=${new URL(desk.url).searchParams.get('token')}`
    expect(await ask(`/api/title?id=${encodeURIComponent('../../etc/passwd')}`, { ...own(), cookie })).toBe(404)
    expect(await ask('/..%2f..%2fpackage.json', { ...own(), cookie })).toBe(404)
  })
})

async function savedSheet(isSo: (sheet: Sheet) => boolean): Promise<Sheet> {
  const read = () => {
    const { sheet } = readSheetFile(JSON.parse(readFileSync(at(SHEET), 'utf8')))
    return sheet !== null && isSo(sheet) ? sheet : null
  }
  await expect.poll(read, { timeout: 10_000 }).not.toBeNull()
  expect(existsSync(at('harbour-day.wav'))).toBe(true)
  return read()!
}

type Sheet = NonNullable<ReturnType<typeof readSheetFile>['sheet']>

/** H:MM:SS.mmm in seconds. */
function secondsOf(instant: string): number {
  const [hours, minutes, seconds] = instant.split(':').map(Number) as [number, number, number]
  return (hours * 60 + minutes) * 60 + seconds
}
