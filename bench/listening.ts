// How soon the desk lets hear what is decided, and whether it plays without a gap: npx tsx bench/listening.ts [MINUTES]
// Chromium has no sound card here: its audio thread runs by the clock, and what comes behind it (the device's own buffer)
// is told by the browser and not in the figures.
import { execFileSync } from 'node:child_process'
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import type { Browser, Page } from 'playwright-core'
import { askDesk, type Desk, openBrowser, startDesk } from '../test/testkit/desk.ts'
import { describeMachine, load } from './machine.ts'
import { feature, stereoMaster, surroundMix } from './music.ts'

const PLANS = 15
const PRESSES = 30
const DEFAULT_MINUTES = 10

/** In the page: what goes to the loudspeakers is read every millisecond, and the player's own words are counted. */
const LISTEN_IN = `
  const connect = AudioNode.prototype.connect
  AudioNode.prototype.connect = function (target, ...more) {
    if (target instanceof AudioDestinationNode && window.tap === undefined) {
      window.tap = new AnalyserNode(this.context, { fftSize: 128 })
      window.heard = this.context
      connect.call(this, window.tap)
    }
    return connect.call(this, target, ...more)
  }
  const Node = window.AudioWorkletNode
  window.AudioWorkletNode = class extends Node {
    constructor(...all) {
      super(...all)
      window.missed = 0
      this.port.addEventListener('message', ({ data }) => { window.missed = Math.max(window.missed, data.missedBlocks) })
    }
  }
  window.level = () => {
    const samples = new Float32Array(128)
    window.tap.getFloatTimeDomainData(samples)
    return Math.sqrt(samples.reduce((sum, sample) => sum + sample * sample, 0) / 128)
  }
  // From the next key or click to the moment when the level has gone half of the way (in dB) to where it then stays.
  window.latency = () => new Promise((resolve) => {
    const before = window.level()
    const begin = () => {
      const start = performance.now()
      const seen = []
      const look = () => {
        const now = performance.now() - start
        seen.push([now, window.level()])
        if (now < 250) return channel.port2.postMessage(null)
        const after = seen.at(-1)[1]
        const half = Math.sqrt(before * after)
        const rises = after > before
        resolve({ ms: seen.find(([, level]) => (rises ? level >= half : level <= half))[0], db: 20 * Math.log10(after / before) })
      }
      const channel = new MessageChannel()
      channel.port1.onmessage = () => setTimeout(look, 0)
      look()
    }
    window.addEventListener('keydown', begin, { capture: true, once: true })
    window.addEventListener('click', begin, { capture: true, once: true })
  })
`

const minutes = Number(process.argv[2] ?? DEFAULT_MINUTES)
const folder = mkdtempSync(join(tmpdir(), 'plimsoll-bench-'))
process.stdout.write(`${JSON.stringify(describeMachine())}, load ${load().toFixed(1)}\n`)
const browser = await openBrowser()
try {
  await withDesk('tone', async (desk, home) => {
    sheetOf(home, tone(join(home, 'tone.wav')), 'ebu-r128')
    await latencies(desk, browser)
  })
  await withDesk('plans', async (desk, home) => {
    sheetOf(home, stereoMaster(home), 'ebu-r128-s1')
    sheetOf(home, surroundMix(home), 'ebu-r128-s1')
    sheetOf(home, feature(join(home, 'surround.wav'), join(home, 'feature.wav')), 'ebu-r128-s1')
    await replan(desk, home, 'master', 'ten minutes of stereo, upmixed')
    await replan(desk, home, 'surround', 'ten minutes of 5.1')
    await replan(desk, home, 'feature', 'two hours of 5.1')
  })
  await withDesk('long', async (desk, home) => {
    sheetOf(home, feature(stereoMaster(home), join(home, 'long.wav')), 'ebu-r128-s1', minutes * 60 + 60)
    rmSync(join(home, 'master.wav'))
    await longRun(desk, browser)
  })
} finally {
  await browser.close()
  rmSync(folder, { recursive: true, force: true })
}

async function withDesk(name: string, work: (desk: Desk, home: string) => Promise<void>): Promise<void> {
  const home = mkdtempSync(join(folder, `${name}-`))
  const desk = await startDesk(home)
  try {
    await work(desk, home)
  } finally {
    await desk.stop()
    rmSync(home, { recursive: true, force: true })
  }
  process.stdout.write(`load ${load().toFixed(1)}\n`)
}

/** A minute of 1 kHz at -20 dBFS: what is heard of it moves only where something is done. */
function tone(path: string): string {
  const source = 'sine=frequency=1000:sample_rate=48000:duration=120,volume=-2dB,pan=stereo|c0=c0|c1=c0'
  execFileSync('ffmpeg', ['-v', 'error', '-f', 'lavfi', '-i', source, '-c:a', 'pcm_s24le', '-bitexact', path])
  return path
}

/** A sheet beside a master; `seconds`: no more of it is programme. */
function sheetOf(home: string, path: string, spec: string, seconds?: number): void {
  const id = path.split('/').at(-1)!.replace('.wav', '')
  const to = `0:${String(Math.floor((seconds ?? 0) / 60)).padStart(2, '0')}:00.000`
  const segments = seconds === undefined ? {} : { segments: [{ kind: 'programme', from: '0:00:00.000', to }] }
  const sources = [{ path: `${id}.wav`, role: 'programme' }]
  const sheet = { sheetVersion: 1, title: { id, name: id }, sources, ...segments, spec: { id: spec } }
  writeFileSync(join(home, `${id}.sheet.json`), JSON.stringify(sheet))
}

async function opened(desk: Desk, on: Browser): Promise<Page> {
  const page = await on.newPage({ viewport: { width: 1280, height: 800 } })
  await page.addInitScript(LISTEN_IN)
  await page.goto(desk.url)
  await page.locator('.title-row').first().click()
  await page.getByRole('button', { name: 'Listen', exact: true }).click({ timeout: 600_000 })
  return page
}

/** From a key or a click to the sound that goes to the loudspeakers. */
async function latencies(desk: Desk, on: Browser): Promise<void> {
  const page = await opened(desk, on)
  await page.getByRole('button', { name: 'With trims' }).click()
  await page.keyboard.press('r')
  await page.getByRole('button', { name: 'Pause' }).waitFor()
  await page.waitForTimeout(3000)
  await report(page, 'fader key to sound', (press) => page.keyboard.press(press % 2 === 0 ? 'ArrowDown' : 'ArrowUp'))
  await page.keyboard.press('r')
  const monitor = page.getByRole('slider', { name: 'monitor' })
  await monitor.focus()
  await report(page, 'monitor key to sound', () => page.keyboard.press('ArrowLeft'))
  await page.getByRole('button', { name: 'Fitted' }).click()
  await page.waitForTimeout(8000)
  await report(page, 'click to sound, source and fitted', (press) =>
    page.getByRole('button', { name: press % 2 === 0 ? 'Source' : 'Fitted', exact: true }).click(),
  )
  await report(page, 'click to sound, difference and fitted', (press) =>
    page.getByRole('button', { name: press % 2 === 0 ? 'Taken away' : 'Fitted', exact: true }).click(),
  )
  const device = (await page.evaluate('[heard.baseLatency * 1000, heard.outputLatency * 1000]')) as number[]
  process.stdout.write(
    `behind that, as this browser tells: buffer ${device[0]!.toFixed(1)} ms, device ${device[1]!.toFixed(1)} ms\n`,
  )
  await page.close()
}

async function report(page: Page, name: string, act: (press: number) => Promise<void>): Promise<void> {
  const found: number[] = []
  for (let press = 0; press < PRESSES; press++) {
    const heard = page.evaluate('latency()') as Promise<{ readonly ms: number; readonly db: number }>
    await page.waitForTimeout(30)
    await act(press)
    const { ms, db } = await heard
    if (Math.abs(db) > 0.2) found.push(ms)
  }
  print(`${name} (${found.length} of ${PRESSES} seen)`, found)
}

/** A plan for another trim, again and again. */
async function replan(desk: Desk, home: string, id: string, words: string): Promise<void> {
  const path = join(home, `${id}.sheet.json`)
  const sheet = JSON.parse(readFileSync(path, 'utf8')) as object
  const found: number[] = []
  for (let plan = 0; plan <= PLANS; plan++) {
    const trims = [{ from: '0:01:00.000', to: '0:01:10.000', gainDb: -1 - plan / 10, glideMs: 200 }]
    const start = performance.now()
    const answer = await askDesk(desk, 'POST', `/api/plan?id=${id}.sheet.json`, {
      text: JSON.stringify({ ...sheet, fit: { trims } }),
    })
    await answer.text()
    if (answer.status !== 200) throw new Error(`no plan: ${answer.status}`)
    const ms = performance.now() - start
    if (plan === 0) process.stdout.write(`${words}: first plan ${(ms / 1000).toFixed(1)} s\n`)
    else found.push(ms)
  }
  print(`${words}: plan for another trim`, found)
}

/** The whole chain, while a fader is ridden: what came too late, and how far the sound fell behind the clock. */
async function longRun(desk: Desk, on: Browser): Promise<void> {
  const page = await opened(desk, on)
  await page.getByRole('button', { name: 'Fitted' }).click()
  await page
    .getByText('finding the fit')
    .waitFor({ timeout: 60_000 })
    .catch(() => null)
  await page.getByText('finding the fit').waitFor({ state: 'detached', timeout: 600_000 })
  await page.keyboard.press('r')
  await page.waitForTimeout(5000)
  const read = async () => (await page.evaluate('[performance.now(), heard.currentTime * 1000, missed]')) as number[]
  const begun = await read()
  for (let second = 0; second < minutes * 60; second += 5) {
    await page.keyboard.press(second % 10 === 0 ? 'ArrowDown' : 'ArrowUp')
    await page.waitForTimeout(5000)
  }
  const ended = await read()
  const wall = ended[0]! - begun[0]!
  const played = await page.locator('.transport .time').textContent()
  const stats = await page.evaluate('JSON.stringify(heard.playbackStats ?? null)')
  process.stdout.write(
    `${(wall / 60000).toFixed(1)} min of the upmix fitted and ridden, played to ${played}: ${ended[2]} blocks came too late, ` +
      `sound behind the clock by ${(wall - (ended[1]! - begun[1]!)).toFixed(1)} ms; the browser's own count: ${stats}\n`,
  )
  await page.close()
}

function print(what: string, values: readonly number[]): void {
  const sorted = values.toSorted((a, b) => a - b)
  const at = (share: number) =>
    sorted[Math.min(sorted.length - 1, Math.floor(sorted.length * share))]?.toFixed(1) ?? '-'
  process.stdout.write(
    `${what.padEnd(64)} median ${at(0.5).padStart(7)} ms, 95th percentile ${at(0.95).padStart(7)} ms\n`,
  )
}
