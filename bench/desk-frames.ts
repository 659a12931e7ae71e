// What a page tells of its frames while something is moved in it.
import type { Page } from 'playwright-core'

/** In the page: the time from frame to frame, for frames in which an event came, and from a pointer's move to the figures. */
export const WATCH_FRAMES = `
  window.frames = []
  window.followed = []
  {
    let [moved, wasMoved, last, at] = [false, false, null, null]
    for (const kind of ['wheel', 'keydown', 'pointermove'])
      addEventListener(kind, () => { moved = true; if (kind === 'pointermove') at ??= performance.now() }, { capture: true, passive: true })
    const tick = (now) => {
      if (last !== null && (moved || wasMoved)) window.frames.push(now - last)
      ;[last, wasMoved, moved] = [now, moved, false]
      requestAnimationFrame(tick)
    }
    requestAnimationFrame(tick)
    window.watchFigures = () => new MutationObserver(() => {
      if (at !== null) window.followed.push(performance.now() - at)
      at = null
    }).observe(document.querySelector('.settings output'), { subtree: true, childList: true, characterData: true })
  }
`

/** Acts again and again, faster than frames come and without waiting for them, and gives the time from frame to frame. */
export async function framesWhile(page: Page, act: (move: number) => Promise<unknown>, everyMs = 8): Promise<number[]> {
  await page.evaluate('frames.length = 0; followed.length = 0')
  const acts: Promise<unknown>[] = []
  for (let move = 0; move < 200; move++) {
    acts.push(act(move))
    await new Promise((resolve) => setTimeout(resolve, everyMs))
  }
  await Promise.all(acts)
  return (await page.evaluate('frames')) as number[]
}

export function told(name: string, values: readonly number[], unit = 'ms'): void {
  const sorted = values.toSorted((a, b) => a - b)
  const at = (share: number) => sorted[Math.min(sorted.length - 1, Math.floor(sorted.length * share))] ?? Number.NaN
  const figures =
    values.length === 1
      ? at(0).toFixed(1)
      : `median ${at(0.5).toFixed(1)}, 95th percentile ${at(0.95).toFixed(1)} of ${values.length}`
  process.stdout.write(`${name.padEnd(56)} ${figures} ${unit}\n`)
}
