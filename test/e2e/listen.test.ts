// What the desk lets hear against what the command line delivers: the page's own thread and worklet in a real browser,
// through an OfflineAudioContext, on real music and speech.
import { readFileSync } from 'node:fs'
import { join } from 'node:path'
import type { Browser, Page } from 'playwright-core'
import { afterAll, beforeAll, expect, test } from 'vitest'
import { framesPerHop, LAYOUTS, type LayoutName, upmixOfSheet } from '../../src/domain/index.ts'
import { type HeardPlan, readSheetFile, type TitleHead, unpackTitle } from '../../src/protocol/index.ts'
import { busLayout, type Listening, matrixOf, type Speakers, sharesOf } from '../../src/web/listen/heard.ts'
import type { Asked } from '../../src/web/listen/mixing-desk.ts'
import { fileFolder, PREPARATION_MS, plimsollMust } from '../testkit/cli.ts'
import { ffmpeg, mixMaster } from '../testkit/cli-programmes.ts'
import { deliveredWords } from '../testkit/delivered-words.ts'
import { type Desk, openBrowser, startDesk } from '../testkit/desk.ts'
import { type Rehearsal, rehearse } from '../testkit/listening.ts'

const folder = fileFolder()
const at = (name: string) => join(folder, name)
const RATE = 48000
const SPEC = 'atsc-a85'

let desk: Desk
let browser: Browser
let page: Page

beforeAll(async () => {
  // A master that is far too soft, with two hits, so that peaks are raised into the ceiling.
  mixMaster(at('saltmarsh.wav'), {
    musicDb: -26,
    speechDb: 2,
    seconds: 45,
    finish: `volume=-14dB,volume=18dB:enable='between(t,26,28)*lt(mod(t,1),0.01)'`,
  })
  // Six different channels, in FLAC, which is decoded once before it can be read anywhere.
  ffmpeg(
    '-i',
    at('saltmarsh.wav'),
    '-af',
    'volume=14dB,pan=5.1(side)|c0=c0|c1=c1|c2=0.7*c0+0.7*c1|c3=0.2*c0|c4=0.5*c0-0.3*c1|c5=0.5*c1-0.2*c0',
    '-c:a',
    'flac',
    '-sample_fmt',
    's32',
    '-bits_per_raw_sample',
    '24',
    at('harbour.flac'),
  )
  for (const name of ['saltmarsh.wav', 'harbour.flac']) {
    const id = name.split('.')[0]!
    await plimsollMust(['sheet', 'new', at(name), '--out', at(`${id}.sheet.json`), '--spec', SPEC], 0)
    await plimsollMust(['deliver', at(`${id}.sheet.json`), '--out', at(`deliveries/${id}`)], 0)
  }
  desk = await startDesk(folder)
  browser = await openBrowser()
  page = await browser.newPage()
  await page.goto(desk.url)
}, PREPARATION_MS)

afterAll(async () => {
  await browser?.close()
  expect(await desk.stop()).toBe(0)
})

const report = (id: string) => JSON.parse(readFileSync(at(`deliveries/${id}/report.json`), 'utf8'))

/** A title as the page opens it, with its plan. */
async function planned(name: string): Promise<{ readonly head: TitleHead; readonly plan: HeardPlan; id: string }> {
  const id = encodeURIComponent(`${name}.sheet.json`)
  const api = (path: string) => new URL(`/api/${path}?id=${id}`, desk.url).href
  await page.request.post(api('measure'))
  const opened = async () => {
    const answer = await page.request.get(api('title'))
    return answer.status() === 200 ? await answer.body() : null
  }
  await expect.poll(opened, { timeout: PREPARATION_MS }).not.toBeNull()
  const bytes = (await opened())!
  const { head } = unpackTitle(new Uint8Array(bytes).buffer)
  const plan = (await (await page.request.post(api('plan'), { data: { text: head.sheetText } })).json()) as HeardPlan
  return { head, plan, id }
}

type Scene = Pick<Rehearsal, 'fromSecond' | 'seconds'> & {
  readonly asks: readonly { readonly atSecond: number; readonly listening: Listening; readonly speakers: Speakers }[]
  readonly outputs: number
}

async function hear(name: string, { asks, outputs, ...place }: Scene) {
  const { head, plan, id } = await planned(name)
  const { sheet } = readSheetFile(JSON.parse(head.sheetText))
  const upmix = plan.upmix && { ...upmixOfSheet(sheet, [], head.ground), reading: plan.upmix.reading }
  const made: LayoutName = upmix === null ? head.layout : '5.1'
  const layouts = { source: head.layout, ...(upmix && { upmix: made }), fitted: made }
  const rolesOf = (layout: LayoutName | undefined) => (layout === undefined ? [] : LAYOUTS[layout])
  const asked = asks.map(({ atSecond, listening, speakers }): { atSecond: number; asked: Asked } => ({
    atSecond,
    asked: {
      shares: sharesOf(listening, layouts),
      matrix: matrixOf(busLayout(layouts), speakers, outputs, () => true),
      isSmall: speakers === 'small',
      monitorGain: 1,
      trimsDb: null,
      pending: null,
    },
  }))
  const { encoding, channelCount } = head.sound
  const { layout, ground } = head
  return rehearse(page, {
    source: {
      title: { format: { encoding, channelCount, sampleRateHz: RATE }, layout, frameCount: ground.frameCount },
      address: `/api/sound?id=${id}&of=source`,
    },
    master: null,
    wishes: { upmix, gain: plan.gain, planNumber: 1 },
    shape: {
      sampleRateHz: RATE,
      hopFrames: framesPerHop(RATE),
      chunkFrames: RATE,
      layout: busLayout(layouts),
      signalRoles: { source: rolesOf(layouts.source), upmix: rolesOf(layouts.upmix), fitted: rolesOf(layouts.fitted) },
    },
    asked,
    ...place,
  })
}

/** When the monitor has risen from silence to where it was asked, at 40 dB a second from -80 dB. */
const RISEN_SECONDS = 2.1

// docs/decisions/0035: the player's output is the file's words at unity monitor gain.
test.each([
  // Across the border of two segments, at 25.6 s.
  { name: 'saltmarsh', role: 'mix-5.1', speakers: 'own', outputs: 6 },
  { name: 'harbour', role: 'mix-5.1', speakers: 'own', outputs: 6 },
] as const)('$name, fitted, is heard as it is delivered, bit for bit', async ({ name, role, speakers, outputs }) => {
  const { passes, alteration } = report(name)
  expect(passes).toBe(1)
  if (name === 'saltmarsh') expect(alteration.ceiling.events).toBeGreaterThan(0)
  const [fromSecond, seconds] = [20, 9]
  const asks = [{ atSecond: 0, listening: 'fitted', speakers }] as const
  const { samples, missedBlocks } = await hear(name, { asks, outputs, fromSecond, seconds })
  expect(missedBlocks).toBe(0)
  const words = deliveredWords(at(`deliveries/${name}`), role)
  const first = Math.ceil(RISEN_SECONDS * RATE) * outputs
  let differing = 0
  let sounding = 0
  for (let i = first; i < samples.length; i++) {
    const word = words(fromSecond * RATE * outputs + i)
    if (samples[i]! * 0x800000 !== word) differing += 1
    if (word !== 0) sounding += 1
  }
  expect(differing).toBe(0)
  expect(sounding).toBeGreaterThan(samples.length / 2)
})

test('the page plays the upmix, the fit and what it takes away, and goes on while it is asked for another', async () => {
  const own = await browser.newContext({ viewport: { width: 1280, height: 800 } })
  const tab = await own.newPage()
  await tab.goto(desk.url)
  await tab.getByRole('link', { name: /saltmarsh/ }).click()
  await tab.getByRole('button', { name: 'Listen', exact: true }).click()
  await tab.getByRole('button', { name: 'Fitted' }).click()
  await expect.poll(() => tab.locator('.transport progress').count(), { timeout: PREPARATION_MS }).toBe(0)
  await tab.getByRole('button', { name: 'Play', exact: true }).click()
  const seconds = async () => {
    const [hours, minutes, rest] = (await tab.locator('.transport .time').textContent())!.split(':').map(Number)
    return (hours! * 60 + minutes!) * 60 + rest!
  }
  for (const name of ['Fitted', 'Upmix', 'Taken away', 'Lt/Rt', 'Small']) {
    await tab.getByRole('button', { name, exact: true }).click()
    const from = await seconds()
    await expect.poll(seconds, { timeout: 60_000 }).toBeGreaterThan(from + 0.5)
  }
  expect(await tab.locator('.transport [role=alert]').count()).toBe(0)
  await own.close()
})
