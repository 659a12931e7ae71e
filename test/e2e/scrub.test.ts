// Scrubbing in a real browser: each second of the programme is a tone of its own, so what is heard tells the place.
import { join } from 'node:path'
import type { Browser, BrowserContextOptions, Page } from 'playwright-core'
import { afterAll, beforeAll, expect, test } from 'vitest'
import { fileFolder, PREPARATION_MS } from '../testkit/cli.ts'
import { ffmpeg } from '../testkit/cli-programmes.ts'
import { accessFaults, type Desk, openBrowser, startDesk } from '../testkit/desk.ts'

const SECONDS = 40
const PEAK = 0.2
/** The desk plays at a monitor gain of -30 dB. */
const HEARD_PEAK = PEAK * 10 ** (-30 / 20)
const toneOf = (second: number) => 300 + 60 * Math.floor(second)

/** In the page: the last 0.7 s that went to the loudspeakers, and how many players there are. */
const IN_PAGE = `
  window.contexts = 0
  window.AudioContext = class extends AudioContext { constructor(...all) { super(...all); window.contexts += 1 } }
  const connect = AudioNode.prototype.connect
  AudioNode.prototype.connect = function (target, ...more) {
    if (target instanceof AudioDestinationNode && window.tap === undefined) {
      const split = new ChannelSplitterNode(this.context)
      window.tap = new AnalyserNode(this.context, { fftSize: 32768 })
      connect.call(this, split)
      connect.call(split, window.tap, 0)
    }
    return connect.call(this, target, ...more)
  }
  window.lately = () => {
    const samples = new Float32Array(32768)
    window.tap?.getFloatTimeDomainData(samples)
    return [...samples]
  }
  // From the next move of the hand to the first sample that is not silent, in milliseconds.
  window.untilHeard = () => new Promise((resolve) => addEventListener('pointermove', () => {
    const begun = performance.now()
    const full = new Float32Array(32768)
    const look = () => {
      window.tap.getFloatTimeDomainData(full)
      if (full.subarray(32640).some((sample) => Math.abs(sample) > 1e-5)) resolve(performance.now() - begun)
      else if (performance.now() - begun > 3000) resolve(null)
      else setTimeout(look, 1)
    }
    look()
  }, { once: true, capture: true }))
`

const folder = fileFolder()
let desk: Desk
let browser: Browser

beforeAll(async () => {
  ffmpeg(
    '-f',
    'lavfi',
    '-i',
    `aevalsrc='${PEAK}*sin(2*PI*(300+60*floor(t))*t)|0.1*sin(2*PI*200*t)':s=48000:d=${SECONDS}`,
    '-c:a',
    'pcm_s24le',
    join(folder, 'stairs.wav'),
  )
  desk = await startDesk(folder)
  browser = await openBrowser()
}, PREPARATION_MS)

afterAll(async () => {
  await browser?.close()
  expect(await desk.stop()).toBe(0)
})

async function open(options: BrowserContextOptions = {}, listens = true): Promise<Page> {
  const page = await (await browser.newContext({ viewport: { width: 1280, height: 800 }, ...options })).newPage()
  await page.addInitScript(IN_PAGE)
  await page.goto(desk.url)
  await page.getByRole('link', { name: /stairs/ }).click()
  await page.locator('.timeline').waitFor({ timeout: PREPARATION_MS })
  if (listens) await page.getByRole('button', { name: 'Listen', exact: true }).click()
  return page
}

/** A hand on the ruler. */
async function handOn(page: Page) {
  const box = (await page.locator('.timeline').boundingBox())!
  const move = (second: number, steps = 1) =>
    page.mouse.move(box.x + 58 + ((box.width - 70) * second) / SECONDS, box.y + 52, { steps })
  return {
    move,
    put: async (second: number) => {
      await move(second)
      await page.mouse.down()
    },
    letGo: () => page.mouse.up(),
  }
}

const lately = (page: Page) => page.evaluate<number[]>('lately()')
const peakOf = (samples: readonly number[]) => Math.max(...samples.map(Math.abs))

/** The tone that sounds longest in what was heard, by its zero crossings upwards where it is loud; null: silence. */
function toneIn(samples: readonly number[]): number | null {
  const peak = peakOf(samples)
  const isLoud = (sample: number) => Math.abs(sample) > peak / 2
  const [first, last] = [samples.findIndex(isLoud), samples.findLastIndex(isLoud)]
  if (first < 0) return null
  const grain = samples.slice(first, last + 1)
  const ups = grain.flatMap((sample, i) => (i > 0 && grain[i - 1]! < 0 && sample >= 0 ? [i] : []))
  return ((ups.length - 1) * 48000) / (ups.at(-1)! - ups[0]!)
}

async function place(page: Page): Promise<number> {
  const [hours, minutes, rest] = (await page.locator('.transport .time').textContent())!.split(':').map(Number)
  return (hours! * 60 + minutes!) * 60 + rest!
}

/** A hand that moves a little until the monitor has risen. */
async function wake(page: Page, hand: Awaited<ReturnType<typeof handOn>>, at: number): Promise<void> {
  await hand.put(at)
  for (let i = 0; i < 40; i++) {
    await hand.move(at + (i % 2) * 0.2)
    await page.waitForTimeout(50)
  }
  await page.waitForTimeout(900)
}

test('along the ruler one hears where the hand is, no louder than playing, and nothing while it rests', async () => {
  const page = await open()
  const hand = await handOn(page)
  await wake(page, hand, 10.4)
  expect(peakOf(await lately(page))).toBe(0)
  for (const second of [20.5, 31.5, 5.5, 5.8, 38.5]) {
    await hand.move(second)
    await page.waitForTimeout(450)
    const heard = await lately(page)
    expect(toneIn(heard)! / toneOf(second)).toBeCloseTo(1, 1)
    expect(Math.abs(toneIn(heard)! - toneOf(second))).toBeLessThan(25)
    expect(peakOf(heard)).toBeLessThanOrEqual(HEARD_PEAK * 1.0001)
    expect(peakOf(heard)).toBeGreaterThan(HEARD_PEAK * 0.9)
    // Rises and falls: no step is larger than the tone itself makes.
    const steepest = 2 * Math.sin((Math.PI * toneOf(second)) / 48000) * HEARD_PEAK
    for (let i = 1; i < heard.length; i++) expect(Math.abs(heard[i]! - heard[i - 1]!)).toBeLessThan(steepest * 1.05)
    await page.waitForTimeout(800)
    expect(peakOf(await lately(page))).toBe(0)
  }
  const near: number[] = []
  const far: number[] = []
  for (let round = 0; round < 12; round++) {
    for (const [times, second] of [
      [far, 3 + ((round * 13) % 35)],
      [near, 3.15 + ((round * 13) % 35)],
    ] as const) {
      const until = page.evaluate<number | null>('untilHeard()')
      await page.waitForTimeout(20)
      await hand.move(second)
      times.push((await until) ?? Number.POSITIVE_INFINITY)
      await page.waitForTimeout(250)
    }
  }
  const median = (times: readonly number[]) => times.toSorted((a, b) => a - b)[times.length >> 1]!
  console.info(`until heard: ${median(near).toFixed(0)} ms in the same second, ${median(far).toFixed(0)} ms elsewhere`)
  expect(median(far)).toBeLessThan(400)
  await hand.letGo()
  await page.context().close()
})

test('let go, it plays on from there where it played; a selection stays', async () => {
  const page = await open()
  await page.getByRole('button', { name: 'Play', exact: true }).click()
  await page.waitForTimeout(500)
  const hand = await handOn(page)
  await hand.put(10)
  await hand.move(25.5, 6)
  const held = await place(page)
  expect(Math.abs(held - 25.5)).toBeLessThan(0.1)
  await page.waitForTimeout(600)
  expect(await place(page)).toBe(held)
  await hand.letGo()
  await expect.poll(() => place(page), { timeout: 20_000 }).toBeGreaterThan(held + 0.5)
  expect(await page.locator('.transport [role=alert]').count()).toBe(0)
  await page.context().close()
})

test('by keys: a picture on and back, ten with Shift, each heard', async () => {
  const page = await open()
  const hand = await handOn(page)
  await wake(page, hand, 12.5)
  await hand.letGo()
  const from = await place(page)
  await page.keyboard.press('o')
  await expect.poll(() => place(page)).toBeCloseTo(from + 0.04, 3)
  await page.waitForTimeout(300)
  expect(Math.abs(toneIn(await lately(page))! - toneOf(12.5))).toBeLessThan(25)
  await page.keyboard.press('Shift+O')
  await expect.poll(() => place(page)).toBeCloseTo(from + 0.44, 3)
  for (let i = 0; i < 5; i++) await page.keyboard.press('u')
  await expect.poll(() => place(page)).toBeCloseTo(from + 0.24, 3)
  await page.keyboard.press('Shift+U')
  await expect.poll(() => place(page)).toBeCloseTo(from - 0.16, 3)
  await page.keyboard.press('l')
  await expect.poll(() => place(page), { timeout: 20_000 }).toBeGreaterThan(from + 0.5)
  await page.keyboard.press('o')
  await page.getByRole('button', { name: 'Play', exact: true }).waitFor()
  expect(await accessFaults(page)).toEqual([])
  await page.context().close()
})

test('nothing is heard before the caution was read, nor where motion is reduced; the place follows all the same', async () => {
  const before = await open({}, false)
  const first = await handOn(before)
  await first.put(10)
  await first.move(20, 5)
  await before.waitForTimeout(500)
  await first.letGo()
  await before.keyboard.press('o')
  expect(await before.evaluate('contexts')).toBe(0)
  await before.getByRole('button', { name: 'Listen', exact: true }).click()
  expect(Math.abs((await place(before)) - 20.04)).toBeLessThan(0.1)
  await before.context().close()

  const page = await open({ reducedMotion: 'reduce' })
  const hand = await handOn(page)
  await wake(page, hand, 10.4)
  for (const second of [20.5, 31.5]) {
    await hand.move(second)
    await page.waitForTimeout(450)
    expect(peakOf(await lately(page))).toBe(0)
    expect(Math.abs((await place(page)) - second)).toBeLessThan(0.1)
  }
  await hand.letGo()
  await page.context().close()
})
