import { useEffect, useRef } from 'react'

/** What is done by keys; one that gives false did not mean anything at the moment, and the page has the key. */
export type KeyActs = Readonly<
  Record<
    | 'play'
    | 'stop'
    | 'forward'
    | 'backward'
    | 'goTo'
    | 'stepOn'
    | 'stepBack'
    | 'stepFarOn'
    | 'stepFarBack'
    | 'loudest'
    | 'ride'
    | 'louder'
    | 'softer'
    | 'undo'
    | 'redo'
    | 'next'
    | 'previous'
    | 'trim'
    | 'remove'
    | 'findFit'
    | 'waveforms'
    | 'picture'
    | 'split'
    | 'join'
    | 'nextScene'
    | 'previousScene'
    | 'longerGlide'
    | 'shorterGlide'
    | 'copy'
    | 'paste',
    () => unknown
  > & {
    /** A channel by its place from 0: heard alone, or muted. */
    readonly channel: (place: number, isAlone: boolean) => unknown
  }
>

/** What each key does, as the help shows it. */
export const KEY_MAP: readonly { readonly keys: string; readonly does: string }[] = [
  { keys: 'Space', does: 'play and pause, from where you clicked' },
  { keys: 'J, K, L', does: 'backwards, stop, forwards; again: twice, four times as fast' },
  { keys: 'U, O', does: 'a picture back, a picture on, and hear it; with Shift ten; or drag along the ruler' },
  { keys: 'A', does: 'go to a place that you type' },
  { keys: 'M', does: 'go to where it is loudest' },
  { keys: '1 … 8', does: 'hear this channel alone, and all again; with Shift: mute it' },
  { keys: 'R', does: 'ride by hand from here, and end the ride; moving the fader while it plays begins one too' },
  { keys: '↑ ↓', does: 'while you ride: the fader by half a dB; in a gain: a tenth of a dB' },
  { keys: 'N, P', does: 'next and previous passage' },
  { keys: 'T', does: 'put a trim on what is selected, or on the passage' },
  { keys: 'Delete', does: 'take the chosen trim or scene away' },
  { keys: 'F', does: 'find the fit: draws its ride, its ceiling and its bands' },
  { keys: 'W', does: 'open the waveforms of all channels, or fold them' },
  { keys: 'I', does: 'fold the picture, or show it' },
  { keys: 'S', does: 'split the scene at the cursor' },
  { keys: 'Shift S', does: 'join the scene with the next' },
  { keys: '[ ]', does: 'scene before, scene after' },
  { keys: 'G, Shift G', does: 'longer, shorter glide into the scene' },
  { keys: 'C, V', does: 'copy the settings of a scene, paste them' },
  { keys: '← →', does: 'move along the timeline' },
  { keys: 'Page ↑ ↓', does: 'move by what is seen' },
  { keys: 'Home, End', does: 'to the beginning, to the end' },
  { keys: '+ −', does: 'closer, farther' },
  { keys: '0', does: 'the whole programme' },
  { keys: ', .', does: 'move the reading line' },
  { keys: 'Shift ← →', does: 'select a stretch' },
  { keys: 'Ctrl Z, Ctrl Shift Z', does: 'undo, redo' },
  { keys: '?', does: 'this list' },
]

/** Keys that work wherever the focus is, but not while something is typed. */
export function useKeys(acts: KeyActs): void {
  const latest = useRef(acts)
  latest.current = acts
  useEffect(() => {
    const pressed = (event: KeyboardEvent) => {
      const act = meant(event, latest.current)
      if (act !== null && act() !== false) event.preventDefault()
    }
    window.addEventListener('keydown', pressed)
    return () => window.removeEventListener('keydown', pressed)
  }, [])
}

type PlainAct = Exclude<keyof KeyActs, 'channel'>

const PLAIN: Readonly<Record<string, PlainAct>> = {
  ' ': 'play',
  j: 'backward',
  k: 'stop',
  l: 'forward',
  a: 'goTo',
  u: 'stepBack',
  o: 'stepOn',
  U: 'stepFarBack',
  O: 'stepFarOn',
  m: 'loudest',
  n: 'next',
  p: 'previous',
  t: 'trim',
  Delete: 'remove',
  Backspace: 'remove',
  f: 'findFit',
  w: 'waveforms',
  i: 'picture',
  s: 'split',
  S: 'join',
  ']': 'nextScene',
  '[': 'previousScene',
  g: 'longerGlide',
  G: 'shorterGlide',
  c: 'copy',
  v: 'paste',
  r: 'ride',
  ArrowUp: 'louder',
  ArrowDown: 'softer',
}

function meant(event: KeyboardEvent, acts: KeyActs): (() => unknown) | null {
  if (isTyping(event.target) || document.querySelector('dialog[open]') !== null) return null
  const withControl = event.ctrlKey || event.metaKey
  const key = event.key.toLowerCase()
  if (withControl && key === 'z') return event.shiftKey ? acts.redo : acts.undo
  if (withControl && key === 'y') return acts.redo
  // A button takes the space bar for itself.
  if (event.key === ' ' && event.target instanceof HTMLButtonElement) return null
  // So does a slider the arrows.
  if (event.key.startsWith('Arrow') && event.target instanceof HTMLInputElement) return null
  if (withControl || event.altKey) return null
  // By its place, as what Shift makes of a figure depends on the keyboard.
  const channel = /^Digit([1-8])$/.exec(event.code)?.[1]
  if (channel !== undefined) return () => acts.channel(Number(channel) - 1, !event.shiftKey)
  const act = PLAIN[event.key]
  return act === undefined ? null : acts[act]
}

function isTyping(target: EventTarget | null): boolean {
  if (!(target instanceof HTMLElement)) return false
  const isPlainInput = target instanceof HTMLInputElement && target.type !== 'range'
  return isPlainInput || target instanceof HTMLTextAreaElement || target instanceof HTMLSelectElement
}
