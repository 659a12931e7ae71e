// Putting titles on the shelf, in a real browser: picked, dropped, or named by their path; never over another file.
import { existsSync, mkdirSync, readFileSync, writeFileSync } from 'node:fs'
import { request } from 'node:http'
import { join } from 'node:path'
import type { Browser, Page } from 'playwright-core'
import { afterAll, beforeAll, expect, test } from 'vitest'
import { fileFolder, filesBelow, PREPARATION_MS } from '../testkit/cli.ts'
import { mixMaster } from '../testkit/cli-programmes.ts'
import { accessFaults, type Desk, openBrowser, startDesk } from '../testkit/desk.ts'
import { sha256 } from '../testkit/outside.ts'

const folder = fileFolder()
const elsewhere = fileFolder()
const at = (name: string) => join(folder, name)
const MASTER = join(elsewhere, 'saltmarsh-104.wav')

let desk: Desk
let browser: Browser
let page: Page

beforeAll(async () => {
  mixMaster(MASTER, { seconds: 20 })
  mkdirSync(join(elsewhere, 'reels'))
  mixMaster(join(elsewhere, 'reels/saltmarsh-105.wav'), { seconds: 20, musicDb: -20 })
  mkdirSync(join(elsewhere, 'season'))
  mixMaster(join(elsewhere, 'season/saltmarsh-106.wav'), { seconds: 120, musicDb: -18 })
  writeFileSync(join(elsewhere, 'season/notes.txt'), 'notes')
  desk = await startDesk(folder)
  browser = await openBrowser()
  page = await (await browser.newContext({ viewport: { width: 1280, height: 800 } })).newPage()
  page.on('pageerror', (error) => {
    throw error
  })
  await page.goto(desk.url)
}, PREPARATION_MS)
afterAll(async () => {
  await browser?.close()
  expect(await desk.stop()).toBe(0)
})

test('an empty shelf says what to do, by day and at night, on a laptop and on a large screen', async () => {
  await page.getByRole('heading', { name: 'Nothing lies here yet' }).waitFor()
  for (const colorScheme of ['light', 'dark'] as const) {
    for (const [width, height] of [
      [1280, 800],
      [3840, 2160],
    ] as const) {
      await page.emulateMedia({ colorScheme })
      await page.setViewportSize({ width, height })
      expect(await accessFaults(page)).toEqual([])
    }
  }
  await page.emulateMedia({ colorScheme: 'light' })
  await page.setViewportSize({ width: 1280, height: 800 })
})

test('a picked file is copied whole and appears; a second of its name is refused and the first stays', async () => {
  await page.getByRole('button', { name: 'Add titles' }).click()
  expect(await accessFaults(page)).toEqual([])
  await page.getByLabel('Files', { exact: true }).setInputFiles(MASTER)
  await page.getByRole('link', { name: /saltmarsh-104/ }).waitFor()
  expect(sha256(at('saltmarsh-104.wav'))).toBe(sha256(MASTER))
  const other = { name: 'saltmarsh-104.wav', mimeType: 'audio/wav', buffer: Buffer.from('another master') }
  await page.getByRole('button', { name: 'Add titles' }).click()
  await page.getByLabel('Files', { exact: true }).setInputFiles(other)
  await page
    .getByRole('alert')
    .getByText(/already/)
    .waitFor()
  expect(sha256(at('saltmarsh-104.wav'))).toBe(sha256(MASTER))
})

test('what is dropped on the shelf is taken in; what is no master is left', async () => {
  await page.evaluate(`{
    const transfer = new DataTransfer()
    transfer.items.add(new File(['RIFF'], 'dropped.wav'))
    transfer.items.add(new File(['notes'], 'notes.txt'))
    window.dispatchEvent(new DragEvent('drop', { dataTransfer: transfer, bubbles: true, cancelable: true }))
  }`)
  await page.getByRole('link', { name: /dropped/ }).waitFor()
  expect(readFileSync(at('dropped.wav'), 'utf8')).toBe('RIFF')
  expect(existsSync(at('notes.txt'))).toBe(false)
  // Where nothing of it is one, that is said.
  await page.evaluate(`{
    const transfer = new DataTransfer()
    transfer.items.add(new File(['notes'], 'notes.txt'))
    window.dispatchEvent(new DragEvent('drop', { dataTransfer: transfer, bubbles: true, cancelable: true }))
  }`)
  await page
    .getByRole('alert')
    .getByText(/Not taken: masters end in/)
    .waitFor()
  expect(await accessFaults(page)).toEqual([])
  await page.getByRole('button', { name: 'Hide notes.txt' }).click()
  expect(await page.getByText(/Not taken/).count()).toBe(0)
})

test('a picked folder comes with its name and its masters', async () => {
  await page.getByRole('button', { name: 'Add titles' }).click()
  await page.getByLabel('A folder').setInputFiles(join(elsewhere, 'season'))
  await page.getByRole('link', { name: /saltmarsh-106/ }).waitFor()
  expect(sha256(at('season/saltmarsh-106.wav'))).toBe(sha256(join(elsewhere, 'season/saltmarsh-106.wav')))
  expect(existsSync(at('season/notes.txt'))).toBe(false)
})

test('measuring is told and can be stopped; the title is as new as before', async () => {
  const row = page.getByRole('listitem').filter({ hasText: 'saltmarsh-106' })
  await page.getByRole('button', { name: /^Measure/ }).click()
  await row.getByRole('progressbar').waitFor()
  await row.getByRole('button', { name: 'Stop' }).click()
  await row.getByText('new, not measured').waitFor()
})

test('by keys alone: a path on this machine puts a master, or a folder of them, on the shelf where it lies', async () => {
  await page.getByRole('button', { name: 'Add titles' }).focus()
  await page.keyboard.press('Enter')
  await page.getByLabel('Path on this machine').focus()
  await page.keyboard.type(join(elsewhere, 'reels'))
  await page.keyboard.press('Enter')
  await page.getByRole('link', { name: /saltmarsh-105/ }).waitFor()
  expect(existsSync(at('saltmarsh-105.wav'))).toBe(false)
  await page.getByRole('link', { name: /saltmarsh-105/ }).focus()
  await page.keyboard.press('Enter')
  await page.getByRole('heading', { name: /Passages/ }).waitFor({ timeout: 60_000 })
  await page.getByRole('link', { name: 'Shelf', exact: true }).click()
  await page.getByRole('button', { name: 'Add titles' }).click()
  await page.getByLabel('Path on this machine').fill(join(elsewhere, 'nowhere.wav'))
  await page.keyboard.press('Enter')
  await page.getByText(/nothing there/).waitFor()
  await page.keyboard.press('Escape')
})

test('titles are found by a part of their name', async () => {
  await page.getByRole('searchbox').fill('105')
  await expect.poll(() => page.locator('.title-row').count()).toBe(1)
  await page.getByRole('searchbox').fill('')
})

const send = (name: string, bytes: Buffer, told: number) =>
  new Promise<number | undefined>((resolve, reject) => {
    const { port, host, searchParams } = new URL(desk.url)
    const headers = { host, cookie: `plimsoll-desk=${searchParams.get('token')}`, 'x-file-bytes': String(told) }
    const path = `/api/file?name=${encodeURIComponent(name)}`
    const sent = request({ host: '127.0.0.1', port, path, method: 'POST', headers }, (answer) => {
      answer.resume()
      resolve(answer.statusCode)
    })
    sent.on('error', reject)
    sent.end(bytes)
  })

test('a file that is cut off, or would lie outside of the shelf, leaves nothing behind', async () => {
  writeFileSync(join(elsewhere, 'victim.wav'), 'untouched')
  const before = filesBelow(folder).filter((name) => !name.includes('.plimsoll-cache'))
  expect(await send('cut.wav', Buffer.from('half'), 8)).toBe(422)
  for (const name of [
    '../victim.wav',
    '/victim.wav',
    '..\\victim.wav',
    '.hidden.wav',
    'a/b/c.wav',
    'program.exe',
    '',
  ]) {
    expect(await send(name, Buffer.from('evil'), 4), name).toBe(422)
  }
  expect(filesBelow(folder).filter((name) => !name.includes('.plimsoll-cache'))).toEqual(before)
  expect(readFileSync(join(elsewhere, 'victim.wav'), 'utf8')).toBe('untouched')
})
