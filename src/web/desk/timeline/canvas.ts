import { HOPS_PER_SECOND } from '../../../domain/index.ts'
import type { Lane, Lanes } from './lanes.ts'
import type { Ink, Scene } from './scene.ts'

/** What a lane is drawn with. */
export type Drawing = {
  readonly canvas: CanvasRenderingContext2D
  readonly ink: Ink
  readonly scene: Scene
  readonly lanes: Lanes
  /** The abscissa of an instant in seconds. */
  readonly x: (seconds: number) => number
}

/** The 100 ms that are seen, [first, end). */
export function hopsSeen({ seen, durationSeconds }: Scene): readonly [number, number] {
  const end = Math.ceil(durationSeconds * HOPS_PER_SECOND)
  return [
    Math.max(0, Math.floor(seen.from * HOPS_PER_SECOND) - 1),
    Math.min(end, Math.ceil(seen.to * HOPS_PER_SECOND) + 1),
  ]
}

/** The 100 ms under one column of pixels; at least one. */
export function hopsAt({ seen }: Scene, column: number, width: number): readonly [number, number] {
  const secondsEach = (seen.to - seen.from) / width
  const first = Math.floor((seen.from + column * secondsEach) * HOPS_PER_SECOND)
  return [first, Math.max(first + 1, Math.floor((seen.from + (column + 1) * secondsEach) * HOPS_PER_SECOND))]
}

/**
 * Columns of one pixel, each between its two ordinates, as one outline: far fewer things to draw than one by one.
 * @param ends the upper and the lower end of a column; null: nothing stands there
 */
export function columnsPath(
  { left, width }: Lanes,
  ends: (column: number) => readonly [number, number] | null,
): Path2D {
  const path = new Path2D()
  const count = Math.ceil(width)
  const lowers: number[] = []
  const close = (end: number) => {
    for (let column = end - 1; lowers.length > 0; column--) {
      const lower = lowers.pop()!
      path.lineTo(left + column + 1, lower)
      path.lineTo(left + column, lower)
    }
    path.closePath()
  }
  for (let column = 0; column <= count; column++) {
    const both = column < count ? ends(column) : null
    if (both === null) {
      if (lowers.length > 0) close(column)
      continue
    }
    const [upper, lower] = both
    if (lowers.length === 0) path.moveTo(left + column, upper)
    else path.lineTo(left + column, upper)
    path.lineTo(left + column + 1, upper)
    lowers.push(lower)
  }
  return path
}

export function baseline(canvas: CanvasRenderingContext2D, ink: Ink, lanes: Lanes, lane: Lane): void {
  canvas.strokeStyle = ink.slate
  canvas.globalAlpha = 0.5
  line(canvas, lanes.left, lane.top + lane.height + 0.5, lanes.left + lanes.width, lane.top + lane.height + 0.5)
  canvas.globalAlpha = 1
}

export function bracket(canvas: CanvasRenderingContext2D, colour: string, from: number, to: number, lane: Lane): void {
  canvas.strokeStyle = colour
  canvas.beginPath()
  for (const [at, inward] of [
    [from, 5],
    [to, -5],
  ] as const) {
    canvas.moveTo(at + inward, lane.top + 1)
    canvas.lineTo(at, lane.top + 1)
    canvas.lineTo(at, lane.top + lane.height - 1)
    canvas.lineTo(at + inward, lane.top + lane.height - 1)
  }
  canvas.stroke()
}

const HATCH_PIXELS = 7
const HATCH_ALPHA = 0.7

/** Hatches what `path` clips of a lane between two abscissas. */
export function hatched(
  { canvas, ink }: Drawing,
  path: Path2D,
  { top, height }: Lane,
  from: number,
  to: number,
  colour: string = ink.slate,
): void {
  canvas.save()
  canvas.clip(path, 'evenodd')
  canvas.strokeStyle = colour
  canvas.globalAlpha *= HATCH_ALPHA
  canvas.beginPath()
  // On one grid for the whole lane, so that the hatching of neighbours meets.
  for (let at = Math.floor((from - height) / HATCH_PIXELS) * HATCH_PIXELS; at < to; at += HATCH_PIXELS) {
    canvas.moveTo(at, top + height)
    canvas.lineTo(at + height, top)
  }
  canvas.stroke()
  canvas.restore()
}

export function line(canvas: CanvasRenderingContext2D, x1: number, y1: number, x2: number, y2: number): void {
  canvas.beginPath()
  canvas.moveTo(x1, y1)
  canvas.lineTo(x2, y2)
  canvas.stroke()
}

/** Words over a curve, with a border of paper so that they can be read. */
export function written(canvas: CanvasRenderingContext2D, paper: string, words: string, x: number, y: number): void {
  canvas.save()
  canvas.strokeStyle = paper
  canvas.lineWidth = 4
  canvas.lineJoin = 'round'
  canvas.strokeText(words, x, y)
  canvas.restore()
  canvas.fillText(words, x, y)
}
