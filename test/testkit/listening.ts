import { readFileSync } from 'node:fs'
import type { Page } from 'playwright-core'
import type { FrameRange } from '../../src/domain/index.ts'
import type { Wishes } from '../../src/web/listen/live-render.ts'
import type { Way } from '../../src/web/listen/match.ts'
import type { Asked, DeskShape } from '../../src/web/listen/mixing-desk.ts'
import type { LiveSound } from '../../src/web/listen/sound-window.ts'

const IN_PAGE = readFileSync(new URL('rehearse-in-page.js', import.meta.url), 'utf8')

/** What is to be played through the page's own player, without a sound card and as fast as it goes. */
export type Rehearsal = {
  readonly source: LiveSound
  readonly master: LiveSound | null
  readonly wishes: Wishes
  readonly shape: DeskShape
  /** Changes of what is asked, each from a second of the rehearsal on; the first at 0. */
  readonly asked: readonly { readonly atSecond: number; readonly asked: Asked }[]
  readonly fromSecond: number
  readonly seconds: number
  /** Played round and round, in frames of the programme. */
  readonly loop?: FrameRange
}

/** What came out: interleaved float32, and how many chunks were made from whole segments in the end. */
export type Heard = { readonly samples: Float32Array; readonly missedBlocks: number }

/**
 * Lets the desk's own thread make a stretch, waits until all of it is made from whole segments, and plays it by the
 * desk's own worklet through an OfflineAudioContext.
 */
export async function rehearse(page: Page, rehearsal: Rehearsal): Promise<Heard> {
  const { base64, missedBlocks } = await page.evaluate<{ readonly base64: string; readonly missedBlocks: number }>(
    `${IN_PAGE};rehearse(${asText(rehearsal)})`,
  )
  const bytes = Buffer.from(base64, 'base64')
  return { samples: new Float32Array(bytes.buffer, bytes.byteOffset, bytes.length / 4), missedBlocks }
}

/** Lets the desk's own thread measure how loud the stretch is in each of these ways, in LKFS. */
export async function measureWays(
  page: Page,
  { ways, ...place }: Omit<Rehearsal, 'asked'> & { readonly ways: readonly Way[] },
): Promise<ReadonlyMap<string, number | null>> {
  // The monitor has not risen in the first three seconds.
  const matched = { ...place, ways, skippedSeconds: 3 }
  return new Map(await page.evaluate<[string, number | null][]>(`${IN_PAGE};measureWays(${asText(matched)})`))
}

/** Points over time are marked. */
function asText(value: object): string {
  return JSON.stringify(value, (_, inner) => (inner instanceof Float64Array ? { points: Array.from(inner) } : inner))
}
