// The picture of a title in a real browser. Each picture counts itself in black and white squares, and the sound is a ramp
// whose height tells the instant: what is seen and what is heard are compared without asking the desk (common practice of
// sync tests, there with a flash and a beep once a second).
import { copyFileSync, readFileSync, renameSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import type { Browser, Page } from 'playwright-core'
import { afterAll, beforeAll, expect, test } from 'vitest'
import { fileFolder, PREPARATION_MS } from '../testkit/cli.ts'
import { ffmpeg } from '../testkit/cli-programmes.ts'
import { accessFaults, askDesk, type Desk, openBrowser, startDesk } from '../testkit/desk.ts'

const IN_PAGE = readFileSync(new URL('../testkit/picture-in-page.js', import.meta.url), 'utf8')
const SECONDS = 40
const PICTURES_A_SECOND = 25
/** The ramp is 0.5 high at its end; the desk plays at a monitor gain of -30 dB. */
const SOUND = { gain: 10 ** (-30 / 20), secondsPerUnit: 2 * SECONDS }
/** A picture stands 40 ms. Sound is noticed that is 45 ms early or 125 ms late (ITU-R BT.1359-1, from memory). */
const MOST_MS = 40

const folder = fileFolder()
const at = (name: string) => join(folder, name)
let desk: Desk
let browser: Browser

beforeAll(async () => {
  const squares = Array.from(
    { length: 10 },
    (_, bit) => `drawbox=x=${32 * bit}:y=100:w=32:h=80:color=white:t=fill:enable='mod(floor(n/${2 ** bit}),2)'`,
  )
  const counting = ['-vf', ['drawbox=x=0:y=100:w=320:h=80:color=black:t=fill', ...squares].join(',')]
  const moving = ['-f', 'lavfi', '-i', `testsrc=s=320x180:r=${PICTURES_A_SECOND}:d=${SECONDS}`, ...counting]
  const ramp = `aevalsrc=t/${2 * SECONDS}|0.1*sin(2*PI*440*t):s=48000:d=${SECONDS}`
  for (const name of ['tide.wav', 'strange.wav', 'none.wav']) {
    ffmpeg('-f', 'lavfi', '-i', ramp, '-c:a', 'pcm_s24le', at(name))
  }
  ffmpeg(...moving, '-c:v', 'libvpx', '-b:v', '800k', '-g', '12', at('tide.webm'))
  ffmpeg('-f', 'lavfi', '-i', 'testsrc=s=320x180:r=25:d=1', '-c:v', 'prores_ks', at('strange.mov'))
  ffmpeg('-f', 'lavfi', '-i', 'testsrc=s=320x180:r=25:d=1', '-c:v', 'libx264', '-pix_fmt', 'yuv420p', at('later.mp4'))
  desk = await startDesk(folder)
  browser = await openBrowser()
}, PREPARATION_MS)

afterAll(async () => {
  await browser?.close()
  expect(await desk.stop()).toBe(0)
})

async function open(title: string): Promise<Page> {
  const page = await (await browser.newContext({ viewport: { width: 1280, height: 800 } })).newPage()
  await page.addInitScript(IN_PAGE)
  await page.goto(desk.url)
  await page.getByRole('link', { name: new RegExp(title) }).click()
  await page.getByRole('button', { name: 'Listen', exact: true }).click({ timeout: PREPARATION_MS })
  return page
}

type Seen = { readonly number: number; readonly heard: number; readonly atMs: number }

function watch(page: Page, seconds: number, speed: number): Promise<readonly Seen[]> {
  return page.evaluate<readonly Seen[]>(`watchPicture(${seconds}, ${JSON.stringify({ ...SOUND, speed })})`)
}

/** How late each picture came, in milliseconds. */
const lateness = (seen: readonly Seen[]) => seen.map(({ number, heard }) => (heard - number / PICTURES_A_SECOND) * 1000)
const quantile = (values: readonly number[], share: number) =>
  values.map(Math.abs).toSorted((a, b) => a - b)[Math.min(values.length - 1, Math.floor(share * values.length))]!

/** Where the picture counts to, once it stands. */
const stands = (page: Page, number: number) =>
  expect.poll(() => page.evaluate('pictureNumber()'), { timeout: 10_000 }).toBe(number)

async function goTo(page: Page, place: string): Promise<void> {
  await page.keyboard.press('a')
  await page.getByRole('textbox', { name: 'Go to' }).fill(place)
  await page.keyboard.press('Enter')
}

test('the picture is in time with what is heard, goes where it goes, and at its speed', async () => {
  const page = await open('tide')
  await page.locator('video').waitFor()
  await goTo(page, '0:00:04.020')
  await stands(page, 100)
  await page.getByRole('button', { name: 'Play', exact: true }).click()
  // The monitor has risen: the height of the ramp tells the instant.
  await page.waitForTimeout(3000)
  const playing = lateness(await watch(page, 4, 1))
  console.info(`in time: median ${quantile(playing, 0.5).toFixed(1)} ms, 95 % ${quantile(playing, 0.95).toFixed(1)} ms`)
  expect(playing.length).toBeGreaterThan(80)
  expect(quantile(playing, 0.95)).toBeLessThan(MOST_MS)

  await goTo(page, '0:00:20.000')
  await page.waitForTimeout(500)
  const after = await watch(page, 2, 1)
  expect(after[0]!.number).toBeGreaterThan(500)
  expect(quantile(lateness(after), 0.95)).toBeLessThan(MOST_MS)

  await page.keyboard.press('l')
  await page.waitForTimeout(500)
  const twice = lateness(await watch(page, 2, 2))
  console.info(
    `twice as fast: median ${quantile(twice, 0.5).toFixed(1)} ms, 95 % ${quantile(twice, 0.95).toFixed(1)} ms`,
  )
  // At twice the speed a picture and a frame of the screen last half as long in what is heard.
  expect(quantile(twice, 0.95)).toBeLessThan(2 * MOST_MS)

  await page.keyboard.press('j')
  await page.waitForTimeout(500)
  const back = await watch(page, 2, -1)
  console.info(`backwards: median ${quantile(lateness(back), 0.5).toFixed(1)} ms, n ${back.length}`)
  expect(back.at(-1)!.number).toBeLessThan(back[0]!.number - 25)
  expect(quantile(lateness(back), 0.95)).toBeLessThan(2 * MOST_MS)
  await page.keyboard.press('k')

  // Under a hand on the ruler, and by keys, it is that of the place.
  const box = (await page.locator('.timeline').boundingBox())!
  const onRuler = (second: number) => page.mouse.move(box.x + 58 + ((box.width - 70) * second) / SECONDS, box.y + 52)
  const counted = async () => {
    const [, , rest] = (await page.locator('.transport .time').textContent())!.split(':').map(Number)
    return Math.floor(rest! * PICTURES_A_SECOND + 0.02)
  }
  await onRuler(10)
  await page.mouse.down()
  for (const second of [12, 33.3, 7.7]) {
    await onRuler(second)
    await expect.poll(counted).toBeGreaterThan(0)
    await stands(page, await counted())
    expect(Math.abs((await counted()) - second * PICTURES_A_SECOND)).toBeLessThan(3)
  }
  await page.mouse.up()
  const before = await counted()
  await page.keyboard.press('o')
  await stands(page, before + 1)
  await page.context().close()
})

test('it goes round with a loop', async () => {
  const page = await open('tide')
  const box = (await page.locator('.timeline').boundingBox())!
  const x = (second: number) => box.x + 58 + ((box.width - 70) * second) / SECONDS
  await page.mouse.move(x(10), box.y + 200)
  await page.mouse.down()
  await page.mouse.move(x(11), box.y + 200, { steps: 3 })
  await page.mouse.move(x(12), box.y + 200, { steps: 3 })
  await page.mouse.up()
  await page.getByRole('checkbox', { name: 'loop' }).check()
  await page.getByRole('button', { name: 'Play', exact: true }).click()
  await page.waitForTimeout(3000)
  const seen = await watch(page, 6, 1)
  const rounds = seen.filter(({ heard }, i) => i > 0 && heard < seen[i - 1]!.heard - 1)
  expect(rounds.length).toBeGreaterThanOrEqual(2)
  // Where the sound goes back the picture follows within a sixth of a second; everywhere else it is in time.
  const settled = seen.filter(({ atMs }) => rounds.every((round) => atMs < round.atMs || atMs > round.atMs + 167))
  const late = lateness(settled)
  console.info(`looped: median ${quantile(late, 0.5).toFixed(1)} ms, 95 % ${quantile(late, 0.95).toFixed(1)} ms`)
  expect(settled.length).toBeGreaterThan(100)
  expect(quantile(late, 0.95)).toBeLessThan(MOST_MS)
  for (const { number } of settled) expect(number).toBeLessThanOrEqual(12.1 * PICTURES_A_SECOND)
  await page.context().close()
})

test('it begins where the sheet says, before the programme or in it', async () => {
  copyFileSync(at('none.wav'), at('leader.wav'))
  copyFileSync(at('tide.webm'), at('leader.webm'))
  for (const [from, seconds, number] of [
    ['09:59:52:00', '10:00:02:00', 250],
    ['10:00:01:00', '10:00:02:00', 25],
  ] as const) {
    const sheet = {
      sheetVersion: 1,
      title: { id: 'leader', name: 'leader' },
      timecode: { rate: '25', start: '10:00:00:00' },
      sources: [{ path: 'leader.wav' }],
      picture: { from },
    }
    writeFileSync(at('leader.sheet.json'), JSON.stringify(sheet))
    const page = await open('leader')
    await goTo(page, seconds)
    await stands(page, number)
    if (number === 25) {
      // Before it begins there is nothing to see.
      await goTo(page, '10:00:00:12')
      await expect.poll(() => page.locator('video').evaluate((video) => video.style.visibility)).toBe('hidden')
    }
    await page.context().close()
  }
})

test('it lies in the column, over the timeline or folded, and the timeline stays as it is', async () => {
  const page = await open('tide')
  await page.locator('video').waitFor()
  const timeline = await page.locator('.timeline').boundingBox()
  expect(await accessFaults(page)).toEqual([])
  await page.getByRole('button', { name: 'Timeline', exact: true }).click()
  expect(await page.locator('.timeline').boundingBox()).toEqual(timeline)
  expect(await accessFaults(page)).toEqual([])
  await page.keyboard.press('i')
  expect(await page.locator('video').count()).toBe(0)
  expect(await page.locator('.timeline').boundingBox()).toEqual(timeline)
  await page.keyboard.press('i')
  await page.locator('video').waitFor()
  expect(await page.getByRole('button', { name: 'Timeline', exact: true }).getAttribute('aria-pressed')).toBe('true')
  await page.context().close()
})

test('where there is none there is no room for it; what a browser cannot show is said, with the way out', async () => {
  const without = await open('none')
  expect(await without.locator('[aria-label="Picture"]').count()).toBe(0)
  await without.context().close()

  const page = await open('strange')
  const said = page.getByRole('alert').filter({ hasText: 'strange.mov' })
  await said.waitFor()
  const words = (await said.textContent())!
  expect(words).toContain('it holds ProRes in QuickTime')
  expect(words).toContain('H.264, VP8, VP9 or AV1')
  expect(words).toContain('"strange.mp4"')
  expect(await accessFaults(page)).toEqual([])
  await page.context().close()

  // As it says: a copy that can be shown, under that name.
  renameSync(at('later.mp4'), at('strange.mp4'))
  const again = await open('strange')
  await again.locator('video').waitFor()
  await expect.poll(() => again.evaluate('document.querySelector("video").videoWidth')).toBe(320)
  expect(await again.getByRole('alert').filter({ hasText: 'strange' }).count()).toBe(0)
  await again.context().close()
})

test('any stretch of it can be asked for (RFC 9110 14), only of pictures and only with the token', async () => {
  const address = '/api/picture?id=tide.wav&name=tide.webm'
  const whole = readFileSync(at('tide.webm'))
  const cookie = `plimsoll-desk=${new URL(desk.url).searchParams.get('token')}`
  const ask = (range: string) => fetch(new URL(address, desk.url), { headers: { cookie, range } })
  for (const [range, first, end] of [
    ['bytes=0-0', 0, 1],
    ['bytes=100-299', 100, 300],
    ['bytes=1000-', 1000, whole.length],
    ['bytes=-50', whole.length - 50, whole.length],
    [`bytes=500-${10 * whole.length}`, 500, whole.length],
  ] as const) {
    const answer = await ask(range)
    expect(answer.status).toBe(206)
    expect(answer.headers.get('content-range')).toBe(`bytes ${first}-${end - 1}/${whole.length}`)
    expect(Buffer.from(await answer.arrayBuffer()).equals(whole.subarray(first, end))).toBe(true)
  }
  const outside = await ask(`bytes=${whole.length}-`)
  expect(outside.status).toBe(416)
  expect(outside.headers.get('content-range')).toBe(`bytes */${whole.length}`)
  expect((await ask('')).status).toBe(200)
  expect((await fetch(new URL(address, desk.url))).status).toBe(401)
  for (const name of ['tide.wav', '../tide.webm', 'strange.mov', '']) {
    const other = await askDesk(desk, 'GET', `/api/picture?id=tide.wav&name=${encodeURIComponent(name)}`)
    expect(other.status).toBe(404)
  }
})
