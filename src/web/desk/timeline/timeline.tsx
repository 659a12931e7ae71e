import {
  type KeyboardEvent,
  type PointerEvent,
  type ReactNode,
  useCallback,
  useEffect,
  useLayoutEffect,
  useMemo,
  useRef,
  useState,
} from 'react'
import type { FrameRange } from '../../../domain/index.ts'
import { gainStep } from '../edits.ts'
import type { SceneChoice, Side } from '../scene-edits.ts'
import { useFramed } from './frame-acts.ts'
import { LaneNames } from './lane-names.tsx'
import { type FitShown, type Lane, type Lanes, layOut } from './lanes.ts'
import { usePainting, zoomOf } from './painting.ts'
import { type Scene, TRIM_SPAN_DB } from './scene.ts'
import { bordersOf, gripAt, type SceneGrip } from './scene-lane.ts'
import { panned, type TimeWindow, within, zoomed } from './time-window.ts'

export type TimelineActs = {
  /** By what the window that is seen then is moved. */
  readonly onSeen: (move: (seen: TimeWindow) => TimeWindow) => void
  readonly onRead: (seconds: number | null) => void
  readonly onSelect: (range: FrameRange | null) => void
  /** To be heard from there. */
  readonly onSeek: (frame: number) => void
  /** A hand goes along the ruler and is heard where it is; it lets go there. */
  readonly onScrub: (frame: number) => void
  readonly onLetGo: (frame: number) => void
  readonly onChooseTrim: (index: number | null) => void
  /** While a trim is dragged; `settled` once it is let go. */
  readonly onTrimGain: (index: number, gainDb: number) => void
  readonly onChooseScene: (choice: SceneChoice | null) => void
  readonly onBorder: (index: number, side: Side, frame: number) => void
  readonly onGlide: (index: number, side: Side, glideMs: number) => void
  readonly onSettled: () => void
  /** Opens a channel to its waveform, or folds it. */
  readonly onOpenChannel: (channel: number) => void
}

type Drag =
  | { readonly kind: 'select'; readonly from: number }
  | { readonly kind: 'overview' }
  | { readonly kind: 'scrub'; readonly from: number; readonly last: number | null }
  | { readonly kind: 'trim'; readonly index: number; readonly startY: number; readonly startDb: number }
  | (SceneGrip & { readonly startSeconds: number; readonly startMs: number })

const ZOOM_PER_PIXEL = 1.0025
const ZOOM_STEP = 1.5
const PAN_SHARE = 0.1
const LEAST_SELECTION_SECONDS = 0.1

/** The programme over time: looked at, selected, trimmed. Everything can be done by keys as well. */
export function Timeline({
  scene,
  acts: given,
  words,
  children,
}: {
  readonly scene: Scene
  readonly acts: TimelineActs
  readonly words: string
  /** Said above the lanes of the fit. */
  readonly children: ReactNode
}) {
  const frame = useRef<HTMLDivElement>(null)
  const still = useRef<HTMLCanvasElement>(null)
  const moving = useRef<HTMLCanvasElement>(null)
  const acts = useFramed(given)
  const drag = useRef<Drag | null>(null)
  const size = useSize(frame)
  const lanes = useLanes(size, scene)
  usePainting(still, moving, scene, lanes)
  useWheel(frame, scene, lanes, acts)

  const secondsAt = (clientX: number): number => {
    const share = (placeOf(frame.current!, clientX, 0).x - lanes.left) / lanes.width
    return Math.min(scene.durationSeconds, Math.max(0, scene.seen.from + share * (scene.seen.to - scene.seen.from)))
  }
  const yAt = (clientY: number) => placeOf(frame.current!, 0, clientY).y

  const down = (event: PointerEvent) => {
    if (event.button !== 0) return
    event.currentTarget.setPointerCapture(event.pointerId)
    const begun = beginDrag(scene, lanes, secondsAt(event.clientX), yAt(event.clientY))
    drag.current = begun
    if (begun.kind === 'trim') acts.onChooseTrim(begun.index)
    else if (begun.kind === 'overview') moveOverview(event)
    else if (begun.kind === 'scrub') acts.onSeek(begun.from)
    else if (begun.kind === 'scene') acts.onChooseScene(begun.choice)
    else if (begun.kind !== 'select') acts.onChooseScene(begun.index)
    else {
      acts.onSelect(null)
      acts.onSeek(Math.round(secondsAt(event.clientX) * scene.sampleRateHz))
    }
  }
  const moveOverview = (event: PointerEvent) => {
    const { x } = placeOf(frame.current!, event.clientX, 0)
    const middle = ((x - lanes.left) / lanes.width) * scene.durationSeconds
    const half = (scene.seen.to - scene.seen.from) / 2
    acts.onSeen(() => within({ from: middle - half, to: middle + half }, scene.durationSeconds))
  }
  const move = (event: PointerEvent) => {
    const seconds = secondsAt(event.clientX)
    acts.onRead(seconds)
    const now = drag.current
    if (now === null) return
    if (now.kind === 'overview') moveOverview(event)
    else if (now.kind === 'scrub') {
      const last = Math.round(seconds * scene.sampleRateHz)
      if (last === (now.last ?? now.from)) return
      drag.current = { ...now, last }
      acts.onScrub(last)
    } else if (now.kind === 'border') acts.onBorder(now.index, now.side, Math.round(seconds * scene.sampleRateHz))
    else if (now.kind === 'glide') {
      const outwards = (seconds - now.startSeconds) * (now.isLater ? 1 : -1)
      acts.onGlide(now.index, now.side, now.startMs + outwards * 2000)
    } else if (now.kind === 'scene') return
    else if (now.kind === 'trim') {
      const dbPerPixel = (2 * TRIM_SPAN_DB) / lanes.trims.height
      acts.onTrimGain(now.index, gainStep(now.startDb + (now.startY - yAt(event.clientY)) * dbPerPixel * 0.5))
    } else if (Math.abs(seconds - now.from) >= LEAST_SELECTION_SECONDS) {
      acts.onSelect(rangeOf(scene, Math.min(seconds, now.from), Math.max(seconds, now.from)))
    }
  }
  const up = () => {
    if (drag.current !== null) letGo(drag.current, acts)
    drag.current = null
  }

  return (
    <div
      className="timeline"
      ref={frame}
      role="application"
      aria-label={words}
      // biome-ignore lint/a11y/noNoninteractiveTabindex: an application is worked by keys.
      tabIndex={0}
      onPointerDown={down}
      onPointerMove={move}
      onPointerUp={up}
      onPointerCancel={up}
      onPointerLeave={() => drag.current === null && acts.onRead(null)}
      onKeyDown={(event) => keyed(event, scene, acts)}
    >
      <canvas ref={still} />
      <canvas ref={moving} className="over" />
      <LaneNames lanes={lanes} scene={scene} onOpenChannel={acts.onOpenChannel} />
      {lanes.fitWords !== null && (
        <OnLane lane={lanes.fitWords} left={lanes.left}>
          {children}
        </OnLane>
      )}
    </div>
  )
}

function letGo(over: Drag, acts: TimelineActs): void {
  if (over.kind === 'scrub') {
    if (over.last !== null) acts.onLetGo(over.last)
  } else if (over.kind !== 'select') acts.onSettled()
}

/** Words and buttons that lie on a lane and are no part of what is dragged there. */
function OnLane({
  lane,
  left,
  children,
}: {
  readonly lane: Lane
  readonly left: number
  readonly children: ReactNode
}) {
  return (
    <div className="lane-words" style={{ left, ...lane }} onPointerDown={(event) => event.stopPropagation()}>
      {children}
    </div>
  )
}

/** Another object only where something lies elsewhere. */
function useLanes({ width, height }: ReturnType<typeof useSize>, scene: Scene): Lanes {
  const { isOpen } = scene.waveform
  const dialogue = scene.speech !== null
  const scenes = scene.isUpmixed || scene.scenes.length > 0
  const { canBeFitted, fit } = scene
  return useMemo(
    () => layOut(width, height, { channels: isOpen, dialogue, scenes, fit: fitShown({ canBeFitted, fit }) }),
    [width, height, isOpen, dialogue, scenes, canBeFitted, fit],
  )
}

/** Where the pointer is on the lanes, in their own pixels: a large screen may show them enlarged. */
function placeOf(frame: HTMLElement, clientX: number, clientY: number): { readonly x: number; readonly y: number } {
  const { left, top } = frame.getBoundingClientRect()
  const zoom = zoomOf(frame)
  return { x: (clientX - left) / zoom, y: (clientY - top) / zoom + frame.scrollTop }
}

function fitShown({ canBeFitted, fit }: Pick<Scene, 'canBeFitted' | 'fit'>): FitShown {
  if (!canBeFitted) return 'nothing'
  if (fit === null) return 'words'
  return { hasLfe: fit.lfeRide !== null, hasBands: fit.bands.length > 0, hasEnergy: fit.energy !== null }
}

function beginDrag(scene: Scene, lanes: Lanes, seconds: number, y: number): Drag {
  if (y < lanes.ruler.top) return { kind: 'overview' }
  if (y < lanes.ruler.top + lanes.ruler.height) {
    return { kind: 'scrub', from: Math.round(seconds * scene.sampleRateHz), last: null }
  }
  const isInTrims = y >= lanes.trims.top && y < lanes.trims.top + lanes.trims.height
  const at = seconds * scene.sampleRateHz
  const index = scene.trims.findIndex(({ startFrame, endFrame }) => at >= startFrame && at < endFrame)
  if (isInTrims && index >= 0) return { kind: 'trim', index, startY: y, startDb: scene.trims[index]!.gainDb }
  const isInScenes = lanes.scenes !== null && y >= lanes.scenes.top && y < lanes.scenes.top + lanes.scenes.height
  if (!isInScenes) return { kind: 'select', from: seconds }
  const grip = gripAt(scene, lanes, seconds)
  const border = grip.kind === 'scene' ? undefined : bordersOf(scene).find(isAt(grip))
  return { ...grip, startSeconds: seconds, startMs: (border?.halfGlideSeconds ?? 0) * 2000 }
}

function isAt({ index, side }: { readonly index: number; readonly side: Side }) {
  return (border: { readonly index: number; readonly side: Side }) => border.index === index && border.side === side
}

function rangeOf({ sampleRateHz }: Scene, from: number, to: number): FrameRange {
  return { startFrame: Math.round(from * sampleRateHz), endFrame: Math.round(to * sampleRateHz) }
}

function keyed(event: KeyboardEvent, scene: Scene, acts: TimelineActs): void {
  if (event.ctrlKey || event.metaKey || event.altKey) return
  const { seen, durationSeconds, reading } = scene
  const length = seen.to - seen.from
  const middle = reading ?? (seen.from + seen.to) / 2
  const move = (by: (now: TimeWindow) => TimeWindow) => acts.onSeen((now) => within(by(now), durationSeconds))
  const pan = (share: number) => move((now) => panned(now, share * (now.to - now.from), durationSeconds))
  const zoom = (factor: number) =>
    move((now) => zoomed(now, factor, reading ?? (now.from + now.to) / 2, durationSeconds))
  const moves: Readonly<Record<string, () => void>> = {
    ArrowLeft: () => (event.shiftKey ? select(-1) : pan(-PAN_SHARE)),
    ArrowRight: () => (event.shiftKey ? select(1) : pan(PAN_SHARE)),
    PageUp: () => pan(-1),
    PageDown: () => pan(1),
    Home: () => move(({ from, to }) => ({ from: 0, to: to - from })),
    End: () => move(({ from, to }) => ({ from: durationSeconds - (to - from), to: durationSeconds })),
    '+': () => zoom(1 / ZOOM_STEP),
    '=': () => zoom(1 / ZOOM_STEP),
    '-': () => zoom(ZOOM_STEP),
    '0': () => move(() => ({ from: 0, to: durationSeconds })),
    ',': () => acts.onRead(Math.max(0, middle - length / 100)),
    '.': () => acts.onRead(Math.min(durationSeconds, middle + length / 100)),
  }
  const select = (direction: number) => {
    const { selection, sampleRateHz } = scene
    const fallback = rangeOf(scene, middle, Math.min(durationSeconds, middle + length / 20))
    if (selection === null) return acts.onSelect(fallback)
    const endFrame = selection.endFrame + Math.round(direction * (length / 50) * sampleRateHz)
    const last = Math.round(durationSeconds * sampleRateHz)
    return acts.onSelect({
      ...selection,
      endFrame: Math.min(last, Math.max(selection.startFrame + sampleRateHz / 10, endFrame)),
    })
  }
  const act = moves[event.key]
  if (act === undefined) return
  event.preventDefault()
  act()
}

/** Wheel and trackpad: sideways pans, up and down zooms around the pointer. */
function useWheel(frame: React.RefObject<HTMLDivElement | null>, scene: Scene, lanes: Lanes, acts: TimelineActs): void {
  const latest = useRef({ scene, lanes, acts })
  latest.current = { scene, lanes, acts }
  useEffect(() => {
    const element = frame.current!
    const turn = (event: WheelEvent) => {
      const { scene: now, lanes: at, acts: act } = latest.current
      // Over the names the lanes are scrolled.
      const { x } = placeOf(element, event.clientX, 0)
      if (x < at.left) return
      event.preventDefault()
      const { durationSeconds } = now
      const pixels = x - at.left
      const secondsPerPixel = (seen: TimeWindow) => (seen.to - seen.from) / at.width
      if (Math.abs(event.deltaX) > Math.abs(event.deltaY) || event.shiftKey) {
        const by = event.deltaX === 0 ? event.deltaY : event.deltaX
        return act.onSeen((seen) => panned(seen, by * secondsPerPixel(seen), durationSeconds))
      }
      const factor = ZOOM_PER_PIXEL ** event.deltaY
      return act.onSeen((seen) => zoomed(seen, factor, seen.from + pixels * secondsPerPixel(seen), durationSeconds))
    }
    element.addEventListener('wheel', turn, { passive: false })
    return () => element.removeEventListener('wheel', turn)
  }, [frame])
}

function useSize(frame: React.RefObject<HTMLDivElement | null>): { readonly width: number; readonly height: number } {
  const [size, setSize] = useState({ width: 800, height: 480 })
  const measure = useCallback(() => {
    const { clientWidth, clientHeight } = frame.current!
    setSize({ width: clientWidth, height: clientHeight })
  }, [frame])
  useLayoutEffect(() => {
    measure()
    const observer = new ResizeObserver(measure)
    observer.observe(frame.current!)
    return () => observer.disconnect()
  }, [frame, measure])
  return size
}
