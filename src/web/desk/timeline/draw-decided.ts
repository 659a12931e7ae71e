import { type FrameRange, HOPS_PER_SECOND, printFigure } from '../../../domain/index.ts'
import { handRidesOf } from '../hand-ride.ts'
import { signed } from '../words.ts'
import { bracket, type Drawing, hatched, hopsSeen, line, written } from './canvas.ts'
import { TRIM_SPAN_DB } from './scene.ts'

const POINT_PIXELS = 5
/** Points of a hand ride that stand closer are not marked: a recorded ride has one in every few pixels. */
const LEAST_POINT_STEP = 9

/** What the mixer decided: gains by hand, and how far the ride may go where he said so. */
export function drawDecided(drawing: Drawing): void {
  const { canvas, ink, scene, lanes } = drawing
  const { trims: lane } = lanes
  canvas.fillStyle = ink.chart
  canvas.fillRect(lanes.left, lane.top, lanes.width, lane.height)
  for (const { lowestDb, highestDb, ...range } of boundsOf(drawing)) drawForbidden(drawing, range, lowestDb, highestDb)
  canvas.strokeStyle = ink.slate
  canvas.setLineDash([2, 3])
  line(canvas, lanes.left, y(drawing, 0), lanes.left + lanes.width, y(drawing, 0))
  canvas.setLineDash([])
  for (const [index] of scene.trims.entries()) drawTrim(drawing, index)
  if (scene.points !== null) drawGain(drawing, scene.points)
  for (const ride of handRidesOf(scene.gains)) drawPoints(drawing, ride.points)
  for (const { words, ...range } of boundsOf(drawing)) drawBounds(drawing, range, words)
}

/** Locks and limits alike: between which gains the ride may move there, and how that is said. */
function boundsOf({ scene }: Drawing) {
  return [
    ...scene.locks.map(({ toleranceDb, ...range }) => ({
      ...range,
      lowestDb: -toleranceDb,
      highestDb: toleranceDb,
      words: toleranceDb === 0 ? 'locked' : `within ${printFigure(toleranceDb)} dB`,
    })),
    ...scene.limits.map(({ lowestDb, highestDb, ...range }) => ({
      ...range,
      lowestDb,
      highestDb,
      words: `ride ${signed(lowestDb)} to ${signed(highestDb)} dB`,
    })),
  ]
}

function y({ lanes: { trims } }: Drawing, db: number): number {
  const share = Math.max(-TRIM_SPAN_DB, Math.min(TRIM_SPAN_DB, db)) / TRIM_SPAN_DB
  return trims.top + (1 - share) * (trims.height / 2)
}

function endsOf({ scene, x }: Drawing, { startFrame, endFrame }: FrameRange): readonly [number, number] {
  return [x(startFrame / scene.sampleRateHz), x(endFrame / scene.sampleRateHz)]
}

/** Hatched as what lies outside the corridor. */
function drawForbidden(drawing: Drawing, range: FrameRange, lowestDb: number, highestDb: number): void {
  const { canvas, ink, lanes } = drawing
  const { trims: lane } = lanes
  const [from, to] = endsOf(drawing, range)
  const [upper, lower] = [y(drawing, highestDb), y(drawing, lowestDb)]
  const outside = new Path2D()
  outside.rect(from, lane.top, to - from, upper - lane.top)
  outside.rect(from, lower, to - from, lane.top + lane.height - lower)
  hatched(drawing, outside, lane, Math.max(from, lanes.left), Math.min(to, lanes.left + lanes.width))
  canvas.strokeStyle = ink.slate
  for (const edge of new Set([upper, lower])) line(canvas, from, edge, to, edge)
}

function drawBounds(drawing: Drawing, range: FrameRange, words: string): void {
  const { canvas, ink, lanes } = drawing
  const [from, to] = endsOf(drawing, range)
  bracket(canvas, ink.ink, from, to, lanes.trims)
  const start = Math.max(from, lanes.left) + 6
  if (start + canvas.measureText(words).width > to - 4) return
  canvas.fillStyle = ink.ink
  canvas.textAlign = 'left'
  canvas.textBaseline = 'middle'
  written(canvas, ink.chart, words, start, lanes.trims.top + 10)
}

function drawTrim(drawing: Drawing, index: number): void {
  const { canvas, ink, scene } = drawing
  const { gainDb, ...range } = scene.trims[index]!
  const [from, to] = endsOf(drawing, range)
  const isChosen = index === scene.chosenTrim
  const [middle, at] = [y(drawing, 0), y(drawing, gainDb)]
  canvas.globalAlpha = isChosen ? 0.5 : 0.25
  canvas.fillStyle = ink.brass
  canvas.fillRect(from, Math.min(middle, at), to - from, Math.abs(at - middle))
  canvas.globalAlpha = 1
  const words = `${signed(gainDb)} dB`
  canvas.fillStyle = ink.ink
  canvas.textAlign = 'left'
  canvas.textBaseline = 'middle'
  if (isChosen || canvas.measureText(words).width < to - from - 8)
    written(canvas, ink.chart, words, from + 4, middle + (gainDb > 0 ? 10 : -10))
}

function drawGain(drawing: Drawing, points: Float64Array): void {
  const { canvas, ink, scene, x } = drawing
  const [first, end] = hopsSeen(scene)
  canvas.strokeStyle = ink.brass
  canvas.lineWidth = 2
  canvas.beginPath()
  for (let hop = first; hop < end; hop++) {
    const isFlat = points[hop] === points[hop - 1] && points[hop] === points[hop + 1]
    if (isFlat && hop !== first && hop !== end - 1) continue
    canvas.lineTo(x((hop + 0.5) / HOPS_PER_SECOND), y(drawing, points[hop]!))
  }
  canvas.stroke()
  canvas.lineWidth = 1
}

/** Squares on the points that a hand ride goes through. */
function drawPoints(drawing: Drawing, points: readonly { readonly frame: number; readonly gainDb: number }[]): void {
  const { canvas, ink, scene, x } = drawing
  canvas.fillStyle = ink.chart
  canvas.strokeStyle = ink.brass
  let last = Number.NEGATIVE_INFINITY
  for (const { frame, gainDb } of points) {
    const at = x(frame / scene.sampleRateHz)
    if (at - last < LEAST_POINT_STEP) continue
    last = at
    const corner = [at - POINT_PIXELS / 2, y(drawing, gainDb) - POINT_PIXELS / 2] as const
    canvas.fillRect(...corner, POINT_PIXELS, POINT_PIXELS)
    canvas.strokeRect(...corner, POINT_PIXELS, POINT_PIXELS)
  }
}
