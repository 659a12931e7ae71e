// What the lanes of the desk's timeline show and what is read on them, in a real browser, of a 5.1 whose every channel is
// known beforehand.
import { readFileSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import type { Browser, Locator, Page } from 'playwright-core'
import { afterAll, beforeAll, expect, test } from 'vitest'
import { fileFolder, PREPARATION_MS, plimsollMust } from '../testkit/cli.ts'
import { ffmpeg, mixMaster } from '../testkit/cli-programmes.ts'
import { accessFaults, askDesk, type Desk, openBrowser, startDesk } from '../testkit/desk.ts'
import { byNumpy } from '../testkit/outside.ts'

const folder = fileFolder()
const at = (name: string) => join(folder, name)
const SECONDS = 60
const SHEET = 'harbour-day.sheet.json'
/** What FFmpeg makes of each channel: L R C LFE Ls Rs. */
const CHANNELS = [
  '0.1*sin(2*PI*997*t)',
  '0.05*random(0)',
  '0.05*sin(2*PI*997*t)*between(t,10,20)',
  '0.2*sin(2*PI*40*t)',
  '0.02*(random(1)-0.5)',
  '0',
]

let desk: Desk
let browser: Browser

beforeAll(async () => {
  const source = `aevalsrc='${CHANNELS.join('|')}':c=5.1(side):s=48000:d=${SECONDS}`
  ffmpeg('-f', 'lavfi', '-i', source, '-c:a', 'pcm_s24le', at('harbour-day.wav'))
  await plimsollMust(['sheet', 'new', at('harbour-day.wav'), '--out', at(SHEET), '--spec', 'ebu-r128'], 0)
  mixMaster(at('saltmarsh.wav'), { musicDb: -20, speechDb: -9, seconds: SECONDS })
  await plimsollMust(
    ['sheet', 'new', at('saltmarsh.wav'), '--out', at('saltmarsh.sheet.json'), '--spec', 'ebu-r128'],
    0,
  )
  const stretch = (from: number, to: number) => ({ from: `0:00:${from}.000`, to: `0:00:${to}.000` })
  const points = [
    { at: '0:00:46.000', gainDb: -1 },
    { at: '0:00:49.000', gainDb: -6 },
  ]
  const fit = {
    locks: [{ ...stretch(10, 20), toleranceDb: 0 }],
    limits: [{ ...stretch(30, 40), lowestDb: -6, highestDb: 0 }],
    handRides: [{ ...stretch(45, 50), points }],
  }
  writeFileSync(at(SHEET), JSON.stringify({ ...JSON.parse(readFileSync(at(SHEET), 'utf8')), fit }))
  desk = await startDesk(folder)
  browser = await openBrowser()
}, PREPARATION_MS)

afterAll(async () => {
  await browser?.close()
  expect(await desk.stop()).toBe(0)
})

async function openTitle(name = /harbour-day/): Promise<Page> {
  const context = await browser.newContext({ viewport: { width: 1280, height: 800 } })
  const page = await context.newPage()
  page.on('pageerror', (error) => {
    throw error
  })
  await page.goto(desk.url)
  await page.getByRole('link', { name }).first().click()
  await page.getByRole('heading', { name: /Passages/ }).waitFor()
  return page
}

/** Names of lanes take 58 px at the left, 12 px are free at the right. */
const xOf = (seconds: number, width: number) => 58 + (seconds / SECONDS) * (width - 70)

async function readAt(page: Page, seconds: number): Promise<string> {
  const box = (await page.locator('.timeline').boundingBox())!
  await page.mouse.move(box.x + xOf(seconds, box.width), box.y + 60)
  return (await page.locator('output.reading').textContent())!
}

/** How many colours stand in a strip of the lane of trims from one second to another, a little above or below its middle. */
async function coloursOf(page: Page, from: number, to: number, side: 'above' | 'below'): Promise<number> {
  await page.mouse.move(0, 0)
  await page.evaluate('new Promise((resolve) => requestAnimationFrame(() => requestAnimationFrame(resolve)))')
  const box = (await page.locator('.timeline').boundingBox())!
  const lane = (await page.getByText('trims', { exact: true }).boundingBox())!
  const [top, height] = [lane.y - box.y, lane.height]
  // ±12 dB over the lane: from 1 to 4 dB off.
  const [near, far] = [height / 24, height / 6]
  const y = side === 'above' ? top + height / 2 - far : top + height / 2 + near
  const strip = [xOf(from, box.width), y, xOf(to, box.width) - xOf(from, box.width), far - near].map(Math.round)
  return (await page.evaluate(`(() => {
    const { data } = document.querySelector('.timeline canvas').getContext('2d').getImageData(${strip.join(',')})
    const colours = new Set()
    for (let i = 0; i < data.length; i += 4) colours.add(data.slice(i, i + 3).join())
    return colours.size
  })()`)) as number
}

test('where the ride may not go is hatched: a lock on both sides, a limit on one, nothing elsewhere', async () => {
  const page = await openTitle()
  const hatched = async (from: number, to: number) => [
    (await coloursOf(page, from, to, 'above')) > 1,
    (await coloursOf(page, from, to, 'below')) > 1,
  ]
  // Words stand on the left of a stretch.
  expect(await hatched(15, 19.5)).toEqual([true, true])
  expect(await hatched(37, 39.5)).toEqual([true, false])
  expect(await hatched(22, 28)).toEqual([false, false])
  await page.context().close()
})

test('locks, limits and hand rides are read where they stand, at the pointer and by keys', async () => {
  const page = await openTitle()
  expect(await readAt(page, 15)).toContain('trim 0.0 dB, locked')
  expect(await readAt(page, 35)).toContain('ride limited to −6.0 to 0.0 dB')
  expect(await readAt(page, 25)).not.toMatch(/locked|limited/)
  // Half way from −1 to −6 dB.
  expect(await readAt(page, 47.5)).toMatch(/trim −3[.][45] dB/)
  await readAt(page, 20.2)
  await page.locator('.timeline').focus()
  // A hundredth of what is seen: 0.6 s.
  await page.keyboard.press(',')
  await expect.poll(() => page.locator('output.reading').textContent()).toContain('locked')
  await page.context().close()
})

test.each([
  ['a small screen', 1280, 800, 1],
  ['one of fine pixels', 1280, 800, 2],
  ['a large one, on which everything is enlarged', 3840, 2160, 1],
] as const)(
  'on %s the lanes are drawn pixel by pixel, and a trim goes as far as the hand',
  async (_, width, height, deviceScaleFactor) => {
    const context = await browser.newContext({ viewport: { width, height }, deviceScaleFactor })
    const page = await context.newPage()
    await page.goto(desk.url)
    await page
      .getByRole('link', { name: /harbour-day/ })
      .first()
      .click()
    await page.getByRole('heading', { name: /Passages/ }).waitFor()
    const canvas = 'document.querySelector(".timeline canvas")'
    const [pixels, shown] = (await page.evaluate(
      `[${canvas}.width, ${canvas}.getBoundingClientRect().width]`,
    )) as number[]
    expect(pixels! / shown!).toBeCloseTo(deviceScaleFactor, 3)
    const box = (await page.locator('.timeline').boundingBox())!
    const name = page.getByText('trims', { exact: true })
    // A lane's name is 50 px wide, as the lanes begin at 58.
    const zoom = (await name.boundingBox())!.width / 50
    const x = (seconds: number) => box.x + zoom * 58 + (seconds / SECONDS) * (box.width - zoom * 70)
    await page.mouse.move(x(22), box.y + 160 * zoom)
    await page.mouse.down()
    await page.mouse.move(x(28), box.y + 160 * zoom, { steps: 4 })
    await page.mouse.up()
    await page.keyboard.press('t')
    await page
      .locator('.timeline')
      .click({ position: { x: x(25) - box.x, y: (await name.boundingBox())!.y - box.y + 4 } })
    await page.getByText('Trim,').waitFor()
    await page.waitForTimeout(300)
    const lane = (await name.boundingBox())!
    const middle = lane.y + lane.height / 2
    await page.mouse.move(x(25), middle)
    await page.mouse.down()
    await page.mouse.move(x(25), middle + 10, { steps: 3 })
    const wanted = -1 - (10 * 24 * 0.5) / lane.height
    const told = async () =>
      Number((await page.locator('.settings output').first().textContent())?.replace('−', '-').split(' ')[0])
    await expect.poll(async () => Math.abs((await told()) - wanted)).toBeLessThan(0.11)
    await page.mouse.up()
    await page.keyboard.press('Control+z')
    await page.keyboard.press('Control+z')
    await page.getByText('saved', { exact: true }).waitFor()
    await page.waitForTimeout(700)
    await context.close()
  },
)

/** Every pixel of the lanes, in one word. */
async function picture(page: Page): Promise<string> {
  await page.mouse.move(0, 0)
  await page.evaluate('new Promise((resolve) => requestAnimationFrame(() => requestAnimationFrame(resolve)))')
  return (await page.evaluate(`document.querySelector('.timeline canvas').toDataURL()`)) as string
}

test('of the lanes only what changed is drawn, and after every step all of it stands as if it were drawn anew', async () => {
  const page = await openTitle()
  const fitAfter = async (key: string) => {
    const plan = page.waitForResponse(/api[/]plan/)
    await page.keyboard.press(key)
    await plan
    await page.getByText(/one gain of/).waitFor()
  }
  const steps = [
    () => page.getByRole('button', { name: 'Waveform of C', exact: true }).click(),
    () => fitAfter('f'),
    () => page.locator('.timeline').press('Shift+ArrowRight'),
    () => fitAfter('t'),
    () => page.locator('.timeline').press('+'),
    () => page.locator('.timeline').press('ArrowRight'),
    () => fitAfter('Control+z'),
    () => page.emulateMedia({ colorScheme: 'dark' }),
  ]
  const seen = new Set<string>()
  for (const step of steps) {
    await step()
    // What was asked for has come.
    await page.waitForTimeout(600)
    const after = await picture(page)
    await page.setViewportSize({ width: 1281, height: 801 })
    await picture(page)
    await page.setViewportSize({ width: 1280, height: 800 })
    expect(await picture(page)).toBe(after)
    seen.add(after)
  }
  expect(seen.size).toBeGreaterThan(6)
  await page.context().close()
})

test('the level of each channel is read: a 997 Hz sine as ITU-R BS.1770-5 Annex 1 has it, 3.01 below its peak', async () => {
  const page = await openTitle()
  expect(await readAt(page, 15)).toMatch(/, L −23[.]0 LKFS, R .*, C −29[.]0 LKFS, LFE .*, Rs silent$/)
  expect(await readAt(page, 25)).toMatch(/, C silent, /)
  await page.context().close()
})

/** All points of a level as the desk gives them, channel after channel. */
async function pointsOf(level: number): Promise<Buffer> {
  const channels: Buffer[][] = CHANNELS.map(() => [])
  for (let tile = 0; ; tile++) {
    const answer = await askDesk(desk, 'GET', `/api/waveform?id=${SHEET}&level=${level}&tile=${tile}`)
    expect(answer.status).toBe(200)
    const bytes = Buffer.from(await answer.arrayBuffer())
    if (bytes.length === 0) return Buffer.concat(channels.flat())
    const each = bytes.length / CHANNELS.length
    for (const [channel, parts] of channels.entries()) parts.push(bytes.subarray(channel * each, (channel + 1) * each))
  }
}

test.each([
  [0, 32],
  [1, 480],
  [2, 1920],
  [3, 7680],
  [4, 30_720],
  [5, 122_880],
])(
  'level %i of the waveform has the lowest and the highest sample of every %i frames, as NumPy finds them',
  async (level, frames) => {
    const page = await openTitle()
    writeFileSync(at('points'), await pointsOf(level))
    const { points, expected, differing } = byNumpy('extremes', at('harbour-day.wav'), at('points'), frames)
    expect(points).toBe(expected)
    expect(differing).toBe(0)
    await page.context().close()
  },
)

test('a channel is opened to its waveform: fetched only then, drawn as high as its samples reach, its peak read', async () => {
  const page = await openTitle()
  const asked: string[] = []
  page.on('request', (request) => request.url().includes('/api/waveform') && asked.push(request.url()))
  const [left, centre] = ['L', 'C'].map((role) =>
    page.getByRole('button', { name: `Waveform of ${role}`, exact: true }),
  )
  await readAt(page, 15)
  expect(asked).toEqual([])
  await left!.click()
  await centre!.click()
  await expect
    .poll(() => readAt(page, 15))
    .toMatch(/L −23[.]0 LKFS, peak −20[.]0 dBFS, .*C −29[.]0 LKFS, peak −26[.]0 dBFS/)
  // The LFE is the loudest: the lanes reach to −12 dBFS, the first step of 6 dB above its −14.
  await page.mouse.move(0, 0)
  const share = 10 ** (12 / 20)
  await expect.poll(() => heightAt(page, left!, 15)).toBeCloseTo(0.1 * share, 1)
  await expect.poll(() => heightAt(page, centre!, 15)).toBeCloseTo(0.05 * share, 1)
  expect(await heightAt(page, centre!, 25)).toBeLessThan(0.03)
  // Closer than 10 ms it is made of the samples.
  await readAt(page, 15)
  for (let i = 0; i < 12; i++) await page.keyboard.press('+')
  await expect.poll(() => asked.some((url) => url.includes('level=0'))).toBe(true)
  await expect.poll(() => page.locator('output.reading').textContent()).toContain('C −29.0 LKFS, peak −26.0 dBFS')
  const opened = (await centre!.boundingBox())!.height
  await centre!.click()
  await expect.poll(async () => (await centre!.boundingBox())!.height).toBeLessThan(opened / 2)
  await page.keyboard.press('w')
  expect(await page.locator('button.lane-name[aria-expanded="true"]').count()).toBe(CHANNELS.length)
  expect(await accessFaults(page)).toEqual([])
  await page.context().close()
})

/** Of a channel's lane from its middle up, how much is drawn at a second. */
async function heightAt(page: Page, name: Locator, seconds: number): Promise<number> {
  await page.evaluate('new Promise((resolve) => requestAnimationFrame(() => requestAnimationFrame(resolve)))')
  const box = (await page.locator('.timeline').boundingBox())!
  const { y, height } = (await name.boundingBox())!
  const column = [Math.round(xOf(seconds, box.width)), Math.round(y - box.y), 1, Math.round(height / 2) - 1]
  return (await page.evaluate(`(() => {
    const { data } = document.querySelector('.timeline canvas').getContext('2d').getImageData(${column.join(',')})
    const ground = data.slice(0, 3).join()
    let drawn = 0
    for (let i = 0; i < data.length; i += 4) if (data.slice(i, i + 3).join() !== ground) drawn++
    return drawn / (data.length / 4)
  })()`)) as number
}

test("the LFE's own ride has a lane: under a sine it stands where the sine keeps its line, elsewhere nowhere", async () => {
  const drop = '0.5*sin(2*PI*35*t)*between(t,20,40)'
  const channels = ['0.1*sin(2*PI*997*t)', '0.1*sin(2*PI*997*t)', '0.05*sin(2*PI*997*t)', drop, '0', '0']
  ffmpeg('-f', 'lavfi', '-i', `aevalsrc='${channels.join('|')}':c=5.1(side):s=48000:d=${SECONDS}`, at('regatta.wav'))
  const sheet = at('regatta.sheet.json')
  await plimsollMust(['sheet', 'new', at('regatta.wav'), '--out', sheet, '--spec', 'ebu-r128'], 0)
  const spec = { id: 'ebu-r128', override: { maxLfeShortTermDbfs: -30 } }
  writeFileSync(sheet, JSON.stringify({ ...JSON.parse(readFileSync(sheet, 'utf8')), spec }))
  const page = await openTitle(/regatta/)
  await page.keyboard.press('f')
  await page.getByText(/the LFE rides alone/).waitFor()
  await page.getByText('LFE ride', { exact: true }).waitFor()
  const read = (words: string, name: string) =>
    Number(new RegExp(`${name} ([−+]?[0-9.]+) dB`).exec(words)?.[1]?.replace('−', '-'))
  const inside = await readAt(page, 30)
  // The mean square of a sine is half the square of its peak.
  const levelDbfs = 20 * Math.log10(0.5) - 10 * Math.log10(2) + read(inside, 'gain')
  expect(levelDbfs).toBeGreaterThan(-25)
  expect(Math.abs(levelDbfs + read(inside, 'LFE ride') + 30)).toBeLessThan(0.15)
  expect(inside).toMatch(/LFE ride −[0-9.]+ dB [(]corridor −[0-9.]+ to −[0-9.]+[)]/)
  for (const seconds of [5, 55]) expect(await readAt(page, seconds)).toContain('LFE ride 0.0 dB')
  expect(await accessFaults(page)).toEqual([])
  await page.context().close()
})

test('where an upmix puts the energy is what SciPy finds in the file that it writes', async () => {
  await plimsollMust(['upmix', at('saltmarsh.wav'), at('upmixed.wav')], 0)
  const page = await openTitle(/saltmarsh/)
  expect(await page.getByText('energy', { exact: true }).count()).toBe(0)
  await page.keyboard.press('f')
  await page.getByText(/^one gain of/).waitFor({ timeout: PREPARATION_MS })
  await page.getByText('energy', { exact: true }).waitFor()
  let furthest = 0
  for (const seconds of [5.05, 12.35, 21.85, 33.25, 41.65, 55.55]) {
    const words = await readAt(page, seconds)
    const [, ...read] = /centre (\d+) %, fronts (\d+) %, surrounds (\d+) %/.exec(words)!.map(Number)
    const found = byNumpy<readonly number[]>('division', at('upmixed.wav'), seconds)
    // Whole percents, and the words of the file are rounded to 24 bits.
    for (const [part, percent] of found.entries()) furthest = Math.max(furthest, Math.abs(percent - read[part]!))
  }
  expect(furthest).toBeLessThan(0.6)
  await page.context().close()
})
