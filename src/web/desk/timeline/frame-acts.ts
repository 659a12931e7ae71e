import { useEffect, useMemo, useRef } from 'react'
import { flushSync } from 'react-dom'
import type { TimelineActs } from './timeline.tsx'

/** Acts that come again and again while something is moved: of those that wait for a frame, the last one counts. */
type Moving = 'onRead' | 'onSelect' | 'onScrub' | 'onTrimGain' | 'onBorder' | 'onGlide'

const BEGINNINGS = ['keydown', 'pointerdown'] as const

let isMakingFrame = false

/** Whether what is drawn now is shown with the frame that is being made. */
export function isInFrame(): boolean {
  return isMakingFrame
}

/**
 * Puts together what a hand does within one frame, and has it rendered and drawn in that same frame: however many events
 * come, none waits for the drawing of the one before. All else is done at once, after what waits.
 */
export function useFramed(acts: TimelineActs): TimelineActs {
  const latest = useRef(acts)
  latest.current = acts
  const framed = useMemo(() => {
    const waiting = new FrameQueue()
    type Name = keyof TimelineActs
    const act = <K extends Name>(name: K, given: Parameters<TimelineActs[K]>) =>
      (latest.current[name] as (...all: typeof given) => void)(...given)
    const atOnce =
      <K extends Name>(name: K) =>
      (...given: Parameters<TimelineActs[K]>) => {
        waiting.flush()
        act(name, given)
      }
    const moving =
      <K extends Moving>(name: K) =>
      (...given: Parameters<TimelineActs[K]>) =>
        waiting.add(name, () => act(name, given))
    const acting: TimelineActs = {
      onSeen: (move) => waiting.add(null, () => latest.current.onSeen(move)),
      onRead: moving('onRead'),
      onSelect: moving('onSelect'),
      onScrub: moving('onScrub'),
      onTrimGain: moving('onTrimGain'),
      onBorder: moving('onBorder'),
      onGlide: moving('onGlide'),
      onSeek: atOnce('onSeek'),
      onLetGo: atOnce('onLetGo'),
      onChooseTrim: atOnce('onChooseTrim'),
      onChooseScene: atOnce('onChooseScene'),
      onSettled: atOnce('onSettled'),
      onOpenChannel: atOnce('onOpenChannel'),
    }
    return { acting, waiting }
  }, [])
  useEffect(() => {
    // What is pressed next stands on what was done before, not on what was drawn before.
    const settle = (event: Event) => !(event instanceof KeyboardEvent && event.repeat) && framed.waiting.flush()
    for (const name of BEGINNINGS) window.addEventListener(name, settle, true)
    return () => {
      for (const name of BEGINNINGS) window.removeEventListener(name, settle, true)
      framed.waiting.drop()
    }
  }, [framed])
  return framed.acting
}

class FrameQueue {
  #acts: { readonly name: Moving | null; readonly act: () => void }[] = []
  #frame = 0

  /** @param name so that it takes the place of what waits under the same name; null: it comes on top */
  add(name: Moving | null, act: () => void): void {
    if (name !== null) this.#acts = this.#acts.filter((one) => one.name !== name)
    this.#acts.push({ name, act })
    if (this.#frame !== 0) return
    this.#frame = requestAnimationFrame(() => {
      isMakingFrame = true
      try {
        this.flush()
      } finally {
        isMakingFrame = false
      }
    })
  }

  flush(): void {
    const acts = this.#acts
    this.drop()
    if (acts.length > 0) flushSync(() => acts.forEach(({ act }) => act()))
  }

  drop(): void {
    cancelAnimationFrame(this.#frame)
    this.#frame = 0
    this.#acts = []
  }
}
