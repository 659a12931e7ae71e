// How the desk keeps up with two hours: npx tsx bench/desk.ts [FOLDER] (the first title on its shelf; without one, two hours
// of 5.1 are made: 6.2 GB in TMPDIR). Chromium draws in software, so frames are slower than with a graphics card. Frames are
// timed at the pace of the screen, 60 a second, and once more with no pace at all, where their own length shows.
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import type { Browser, CDPSession, Page } from 'playwright-core'
import { type Desk, openBrowser, startDesk } from '../test/testkit/desk.ts'
import { framesWhile, told, WATCH_FRAMES } from './desk-frames.ts'
import { describeMachine, load } from './machine.ts'
import { feature, surroundMix } from './music.ts'

const OPENINGS = 5
const NO_PACE = ['--disable-frame-rate-limit', '--disable-gpu-vsync']
/** How often a key that is held comes again. */
const KEY_REPEAT_MS = 33

type Opened = { readonly page: Page; readonly devTools: CDPSession; readonly x: number; readonly y: number }

const [given] = process.argv.slice(2)
const folder = given ?? madeFolder()
const desk = await startDesk(folder)
process.stdout.write(`${JSON.stringify(describeMachine())}, load ${load().toFixed(1)}\n`)
try {
  for (const more of [[], NO_PACE]) {
    process.stdout.write(more.length === 0 ? 'at the pace of the screen\n' : 'at no pace\n')
    const browser = await openBrowser(more)
    try {
      await measureAll(desk, browser)
    } finally {
      await browser.close()
    }
    process.stdout.write(`load ${load().toFixed(1)}\n`)
  }
} finally {
  await desk.stop()
  if (given === undefined) rmSync(folder, { recursive: true, force: true })
}

/** Two hours of 5.1 with a sheet. */
function madeFolder(): string {
  const home = mkdtempSync(join(tmpdir(), 'plimsoll-bench-'))
  const short = surroundMix(home)
  feature(short, join(home, 'feature.wav'))
  rmSync(short)
  const sources = [{ path: 'feature.wav', role: 'programme' }]
  const sheet = { sheetVersion: 1, title: { id: 'feature', name: 'Feature' }, sources, spec: { id: 'ebu-r128-s1' } }
  writeFileSync(join(home, 'feature.sheet.json'), JSON.stringify(sheet))
  return home
}

async function measureAll(on: Desk, browser: Browser): Promise<void> {
  const opened = await openTitle(on, browser)
  await moving(opened, 'as it opens')
  await opened.page.keyboard.press('f')
  await opened.page.getByText(/one gain of/).waitFor({ timeout: 600_000 })
  await opened.page.keyboard.press('w')
  await opened.page.waitForTimeout(4000)
  await moving(opened, 'fit and all waveforms')
  await dragging(opened, 0.2)
  await dragging(opened, 0.8)
  await memory(opened)
}

/** From the click to the frame behind that in which the lanes stand. */
async function openTitle(on: Desk, browser: Browser): Promise<Opened> {
  const context = await browser.newContext({ viewport: { width: 1280, height: 800 } })
  const page = await context.newPage()
  await page.addInitScript(WATCH_FRAMES)
  await page.goto(on.url)
  const openings: number[] = []
  for (let opening = 0; opening <= OPENINGS; opening++) {
    const link = page.locator('.title-row').first()
    await link.waitFor()
    const start = performance.now()
    await link.click()
    await page.getByRole('heading', { name: /Passages/ }).waitFor({ timeout: 600_000 })
    await page.evaluate('new Promise((resolve) => requestAnimationFrame(() => requestAnimationFrame(resolve)))')
    if (opening === 0) told('measured, or remembered, and opened', [(performance.now() - start) / 1000], 's')
    else openings.push(performance.now() - start)
    if (opening < OPENINGS) await page.getByRole('link', { name: 'Shelf', exact: true }).click()
  }
  told('opened again, until the first picture', openings)
  const box = (await page.locator('.timeline').boundingBox())!
  return { page, devTools: await context.newCDPSession(page), x: box.x + box.width / 2, y: box.y + 120 }
}

async function moving({ page, devTools, x, y }: Opened, name: string): Promise<void> {
  const wheel = (deltaX: number, deltaY: number) =>
    devTools.send('Input.dispatchMouseEvent', { type: 'mouseWheel', x, y, deltaX, deltaY })
  const back = async (...steps: readonly number[]) => {
    await page.locator('.timeline').press('0')
    for (const step of steps) await wheel(0, step)
    await page.waitForTimeout(500)
  }
  await page.mouse.move(x, y)
  await back()
  told(`${name}: zooming by wheel`, await framesWhile(page, (move) => wheel(0, move % 60 < 30 ? -60 : 60)))
  await back(-120, -120)
  told(`${name}: panning by wheel, wide`, await framesWhile(page, (move) => wheel(move % 60 < 30 ? 40 : -40, 0)))
  await back(...Array.from({ length: 8 }, () => -300))
  told(`${name}: panning by wheel, near`, await framesWhile(page, () => wheel(60, 0)))
  await back(-120, -120)
  const press = (one: string, other: string) => (move: number) => page.keyboard.press(move % 8 < 4 ? one : other)
  told(`${name}: panning by keys`, await framesWhile(page, press('ArrowRight', 'ArrowLeft'), KEY_REPEAT_MS))
  told(`${name}: zooming by keys`, await framesWhile(page, press('+', '-'), KEY_REPEAT_MS))
}

/** A trim from a tenth of the programme on, dragged up and down. */
async function dragging({ page, devTools }: Opened, to: number): Promise<void> {
  const box = (await page.locator('.timeline').boundingBox())!
  const x = (share: number) => box.x + 58 + share * (box.width - 70)
  await page.locator('.timeline').press('0')
  await page.mouse.move(x(0.1), box.y + 140)
  await page.mouse.down()
  await page.mouse.move(x(to), box.y + 140, { steps: 4 })
  await page.mouse.up()
  await page.keyboard.press('t')
  await page.waitForTimeout(500)
  const middle = async () => {
    const lane = (await page.getByText('trims', { exact: true }).boundingBox())!
    return lane.y + lane.height / 2
  }
  await page.mouse.click(x(0.15), await middle())
  await page.waitForTimeout(500)
  const y = await middle()
  await page.mouse.move(x(0.15), y)
  await page.mouse.down()
  await page.evaluate('watchFigures()')
  const minutes = Math.round((to - 0.1) * 120)
  const drag = (move: number) =>
    devTools.send('Input.dispatchMouseEvent', {
      type: 'mouseMoved',
      x: x(0.15),
      y: y + 20 * ((move % 40) / 20 - 1),
      button: 'left',
      buttons: 1,
    })
  told(`dragging a trim of ${minutes} minutes`, await framesWhile(page, drag))
  told('  from its move to the figures', (await page.evaluate('followed')) as number[])
  await page.mouse.up()
  for (let step = 0; step < 2; step++) await page.keyboard.press('Control+z')
  await page.waitForTimeout(3000)
}

/** What the page holds: objects, buffers and canvases, and what the browser counts as the page's own. */
async function memory({ page, devTools }: Opened): Promise<void> {
  const heap = (await devTools.send('Runtime.getHeapUsage')) as Readonly<Record<string, number>>
  const canvases = (await page.evaluate(
    `[...document.querySelectorAll('canvas')].reduce((sum, { width, height }) => sum + 4 * width * height, 0)`,
  )) as number
  const bytes = heap.usedSize! + heap.embedderHeapUsedSize! + heap.backingStorageSize! + canvases
  told('memory: objects, buffers and canvases', [bytes / 1e6], 'MB')
  const counted = (await page.evaluate(
    'performance.measureUserAgentSpecificMemory().then(({ bytes }) => bytes)',
  )) as number
  told('memory as the browser counts the page', [counted / 1e6], 'MB')
}
