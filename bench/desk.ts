// How the desk keeps up with a long title: npx tsx bench/desk.ts FOLDER (the first title on its shelf is opened).
// Chromium draws in software, so frames are slower than on a machine with a graphics card.
import type { Page } from 'playwright-core'
import { openBrowser, startDesk } from '../test/testkit/desk.ts'

const MOVES = 200

/** In the page: the milliseconds from each frame to the next, from now on. */
const COUNT_FRAMES = `
  window.long = []
  let last = performance.now()
  const tick = (now) => { window.long.push(now - last); last = now; requestAnimationFrame(tick) }
  requestAnimationFrame(tick)
`

const [folder] = process.argv.slice(2)
if (folder === undefined) throw new Error('Name a folder with a long title: npx tsx bench/desk.ts FOLDER')

const desk = await startDesk(folder)
const browser = await openBrowser()
try {
  const page = await browser.newPage({ viewport: { width: 1280, height: 800 } })
  await page.goto(desk.url)
  const link = page.locator('.title-row').first()
  const measuring = await timed(async () => {
    await link.click()
    await ready(page)
  })
  print('measured and opened', measuring / 1000, 's')
  await page.getByRole('link', { name: 'Shelf', exact: true }).click()
  await link.waitFor()
  const opening = await timed(async () => {
    await link.click()
    await ready(page)
  })
  print('opened again, first picture', opening / 1000, 's')
  await panning(page)
  await dragging(page)
  const bytes = (await page.evaluate('performance.memory.usedJSHeapSize')) as number
  print('JavaScript memory of the page', bytes / 1e6, 'MB')
} finally {
  await browser.close()
  await desk.stop()
}

async function ready(page: Page): Promise<void> {
  await page.getByRole('heading', { name: /Passages/ }).waitFor({ timeout: 600_000 })
  await nextFrame(page)
}

/** Wheel events over the timeline, a frame each. */
async function panning(page: Page): Promise<void> {
  const box = (await page.locator('.timeline').boundingBox())!
  await page.mouse.move(box.x + box.width / 2, box.y + box.height / 2)
  for (let i = 0; i < 8; i++) await page.mouse.wheel(0, -300)
  await frames(page, 'panning', () => page.mouse.wheel(60, 0))
}

/** A trim of ten minutes, put on by keys and dragged up and down. */
async function dragging(page: Page): Promise<void> {
  const box = (await page.locator('.timeline').boundingBox())!
  await page.keyboard.press('0')
  await page.mouse.move(box.x + box.width * 0.4, box.y + 200)
  await page.mouse.down()
  await page.mouse.move(box.x + box.width * 0.48, box.y + 200, { steps: 4 })
  await page.mouse.up()
  await page.keyboard.press('t')
  const lane = (await page.getByText('trims', { exact: true }).boundingBox())!
  const y = lane.y + lane.height / 2
  await page.mouse.move(box.x + box.width * 0.44, y)
  await page.mouse.down()
  let at = 0
  await frames(page, 'dragging a trim', () => page.mouse.move(box.x + box.width * 0.44, y + 20 * Math.sin(at++ / 5)))
  await page.mouse.up()
  const gain = await page.locator('.settings output').textContent()
  if (gain?.startsWith('−1.0') !== false) throw new Error(`The trim did not follow the hand: ${gain}`)
  await page.keyboard.press('Control+z')
}

/** The time from frame to frame while something moves with every one. */
async function frames(page: Page, name: string, move: () => Promise<void>): Promise<void> {
  await page.evaluate(COUNT_FRAMES)
  for (let i = 0; i < MOVES; i++) await move()
  const long = ((await page.evaluate('window.long')) as number[]).toSorted((a, b) => a - b)
  const at = (share: number) => long[Math.min(long.length - 1, Math.floor(long.length * share))]!
  print(`${name}, frame to frame, median`, at(0.5), 'ms')
  print(`${name}, frame to frame, 95th percentile`, at(0.95), 'ms')
}

async function nextFrame(page: Page): Promise<void> {
  await page.evaluate('new Promise((resolve) => requestAnimationFrame(() => requestAnimationFrame(resolve)))')
}

async function timed(work: () => Promise<void>): Promise<number> {
  const start = performance.now()
  await work()
  return performance.now() - start
}

function print(what: string, value: number, unit: string): void {
  process.stdout.write(`${what.padEnd(52)} ${value.toFixed(1).padStart(8)} ${unit}\n`)
}
