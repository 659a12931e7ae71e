import { type RefObject, useEffect, useLayoutEffect, useRef, useState } from 'react'
import { drawMoving, drawTimeline, FONT } from './draw.ts'
import { isInFrame } from './frame-acts.ts'
import type { Lanes } from './lanes.ts'
import type { Ink, Scene } from './scene.ts'

const RIGHT_MARGIN = 12

type Layer = RefObject<HTMLCanvasElement | null>

/** What a picture was drawn of. */
type Drawn = { readonly scene: Scene; readonly lanes: Lanes; readonly look: string }

/**
 * Draws once a frame at most, in device pixels: the lanes on one canvas, and on another that lies over it what moves on its
 * own, so that neither playing nor reading draws the lanes again.
 */
export function usePainting(still: Layer, moving: Layer, scene: Scene, lanes: Lanes): void {
  const look = useLook()
  const drawn = useRef<Drawn | null>(null)
  const ink = useRef<{ readonly look: string; readonly ink: Ink } | null>(null)
  useLayoutEffect(() => {
    const paint = () => {
      if (ink.current?.look !== look) ink.current = { look, ink: inkOf(still.current!) }
      const lower = contextOf(still.current!, lanes, false)
      const upper = contextOf(moving.current!, lanes, true)
      const now = { scene, lanes, look: `${look} ${still.current!.width} ${still.current!.height}` }
      const isSamePlace = drawn.current?.lanes === lanes && drawn.current.look === now.look
      drawTimeline(lower, ink.current.ink, scene, lanes, isSamePlace ? drawn.current!.scene : null)
      drawn.current = now
      drawMoving(upper, ink.current.ink, scene, lanes)
    }
    if (isInFrame()) {
      paint()
      return undefined
    }
    const frame = requestAnimationFrame(paint)
    return () => cancelAnimationFrame(frame)
  })
}

/** Its canvas is given the size of the lanes where it has another one, which clears it. */
function contextOf(canvas: HTMLCanvasElement, lanes: Lanes, isClear: boolean): CanvasRenderingContext2D {
  const ratio = window.devicePixelRatio * zoomOf(canvas)
  const width = lanes.left + lanes.width + RIGHT_MARGIN
  const [wide, high] = [Math.round(width * ratio), Math.round(lanes.height * ratio)]
  if (canvas.width !== wide || canvas.height !== high) {
    canvas.width = wide
    canvas.height = high
    canvas.style.width = `${width}px`
    canvas.style.height = `${lanes.height}px`
  }
  const context = canvas.getContext('2d', { alpha: isClear })!
  context.setTransform(ratio, 0, 0, ratio, 0, 0)
  return context
}

/** How far the page's style enlarges an element. */
export function zoomOf(element: HTMLElement): number {
  return (element as HTMLElement & { readonly currentCSSZoom?: number }).currentCSSZoom ?? 1
}

const NAMES = ['paper', 'chart', 'ink', 'slate', 'tide', 'rust', 'brass', 'kelp'] as const

function inkOf(element: HTMLElement): Ink {
  const style = getComputedStyle(element)
  return Object.fromEntries(NAMES.map((name) => [name, style.getPropertyValue(`--${name}`)])) as Ink
}

/** Changes with the colours and once the typeface is there. */
function useLook(): string {
  const [isDark, setDark] = useState(() => matchMedia('(prefers-color-scheme: dark)').matches)
  const [hasTypeface, setTypeface] = useState(() => document.fonts.check(FONT))
  useEffect(() => {
    const media = matchMedia('(prefers-color-scheme: dark)')
    const follow = () => setDark(media.matches)
    media.addEventListener('change', follow)
    return () => media.removeEventListener('change', follow)
  }, [])
  useEffect(() => {
    if (!hasTypeface) void document.fonts.load(FONT).finally(() => setTypeface(true))
  }, [hasTypeface])
  return `${isDark} ${hasTypeface}`
}
