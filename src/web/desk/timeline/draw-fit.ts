import { HOPS_PER_SECOND } from '../../../domain/index.ts'
import type { RideMoves } from '../../../protocol/index.ts'
import type { FitCurves, Span } from '../fit-curves.ts'
import { signed } from '../words.ts'
import { baseline, type Drawing, hatched, hopsAt, hopsSeen, line, written } from './canvas.ts'
import { drawEnergy } from './draw-energy.ts'
import type { Lane } from './lanes.ts'

const OLD_ALPHA = 0.45
/** Bands are told apart by their dashes; what is written beside them says which is which. */
const DASHES = [[], [7, 3], [2, 3], [9, 3, 2, 3], [1, 4]]

type Point = readonly [number, number]

/** The ride inside its corridor, what the ceiling takes, and what is done to bands. */
export function drawFit(drawing: Drawing): void {
  const { scene, canvas, lanes } = drawing
  const { fit } = scene
  if (fit === null) return
  canvas.save()
  canvas.globalAlpha = scene.isFitOld ? OLD_ALPHA : 1
  drawRide(drawing, lanes.ride, fit.ride, fit.rideSpan)
  drawRide(drawing, lanes.lfe, fit.lfeRide, fit.lfeSpan)
  drawCeiling(drawing, fit)
  drawBands(drawing, fit)
  drawEnergy(drawing)
  canvas.restore()
}

function drawRide(drawing: Drawing, lane: Lane | null, ride: RideMoves | null, span: Span): void {
  const { canvas, ink } = drawing
  if (lane === null) return
  const y = ordinate(lane, span)
  if (ride !== null) {
    const upper = traced(drawing, ride.highestDb, 'highest', y)
    const lower = traced(drawing, ride.lowestDb, 'lowest', y)
    drawCorridor(drawing, lane, upper, lower)
  }
  scale(drawing, lane, span, y)
  if (ride === null) {
    atRest(drawing, lane, 'rests: one gain is enough')
    return
  }
  canvas.strokeStyle = ink.brass
  canvas.lineWidth = 2
  canvas.beginPath()
  path(canvas, traced(drawing, ride.gainDb, 'both', y))
  canvas.stroke()
  canvas.lineWidth = 1
}

/** The corridor is clear; what lies outside of it is hatched. */
function drawCorridor(drawing: Drawing, lane: Lane, upper: readonly Point[], lower: readonly Point[]) {
  const { canvas, ink, lanes } = drawing
  canvas.save()
  canvas.beginPath()
  canvas.rect(lanes.left, lane.top, lanes.width, lane.height)
  canvas.clip()
  canvas.fillStyle = ink.chart
  canvas.fill()
  const corridor = new Path2D()
  path(corridor, upper)
  path(corridor, lower.toReversed())
  corridor.closePath()
  const outside = new Path2D(corridor)
  outside.rect(lanes.left, lane.top, lanes.width, lane.height)
  hatched(drawing, outside, lane, lanes.left, lanes.left + lanes.width)
  canvas.strokeStyle = ink.slate
  canvas.stroke(corridor)
  canvas.restore()
}

/** Loudness that is taken hangs from the top of its lane. */
function drawCeiling(drawing: Drawing, { ceilingLossDb, ceilingSpan }: FitCurves): void {
  const { canvas, ink, lanes } = drawing
  const lane = lanes.ceiling
  if (lane === null) return
  const y = ordinate(lane, ceilingSpan)
  if (ceilingLossDb !== null) {
    const curve = traced(drawing, ceilingLossDb, 'lowest', y)
    canvas.fillStyle = ink.tide
    canvas.strokeStyle = ink.tide
    canvas.beginPath()
    path(canvas, curve)
    canvas.stroke()
    canvas.lineTo(curve.at(-1)?.[0] ?? lanes.left, y(0))
    canvas.lineTo(curve[0]?.[0] ?? lanes.left, y(0))
    canvas.fill()
  }
  scale(drawing, lane, ceilingSpan, y)
  if (ceilingLossDb === null) atRest(drawing, lane, 'rests: no peak comes near its line')
}

/** An empty lane says why it is empty. */
function atRest({ canvas, ink, lanes }: Drawing, lane: Lane, words: string): void {
  canvas.fillStyle = ink.slate
  canvas.textAlign = 'left'
  canvas.textBaseline = 'middle'
  written(canvas, ink.paper, words, lanes.left + 6, lane.top + lane.height / 2)
}

function drawBands(drawing: Drawing, { bands, bandsSpan }: FitCurves): void {
  const { canvas, ink, lanes } = drawing
  const lane = lanes.bands
  if (lane === null) return
  const y = ordinate(lane, bandsSpan)
  scale(drawing, lane, bandsSpan, y)
  canvas.strokeStyle = ink.ink
  canvas.lineWidth = 1.5
  for (const [index, { gainDb }] of bands.entries()) {
    canvas.setLineDash(DASHES[index % DASHES.length]!)
    canvas.beginPath()
    path(canvas, traced(drawing, gainDb, 'both', y))
    canvas.stroke()
  }
  let at = lanes.left + 6
  canvas.fillStyle = ink.ink
  canvas.textAlign = 'left'
  canvas.textBaseline = 'middle'
  for (const [index, { name }] of bands.entries()) {
    const middle = lane.top + lane.height - 7
    canvas.setLineDash(DASHES[index % DASHES.length]!)
    line(canvas, at, middle, at + 24, middle)
    written(canvas, ink.paper, name, at + 28, middle)
    at += 28 + canvas.measureText(name).width + 14
  }
  canvas.setLineDash([])
  canvas.lineWidth = 1
}

function ordinate(lane: Lane, { topDb, bottomDb }: Span): (db: number) => number {
  return (db) =>
    lane.top + ((topDb - Math.min(topDb, Math.max(bottomDb, db))) / (topDb - bottomDb)) * (lane.height - 2) + 1
}

/** The line of no change, the floor of the lane, and what its ends stand for. */
function scale({ canvas, ink, scene, lanes }: Drawing, lane: Lane, span: Span, y: (db: number) => number): void {
  canvas.strokeStyle = ink.slate
  canvas.setLineDash([2, 3])
  line(canvas, lanes.left, y(0), lanes.left + lanes.width, y(0))
  canvas.setLineDash([])
  baseline(canvas, ink, lanes, lane)
  canvas.globalAlpha = scene.isFitOld ? OLD_ALPHA : 1
  canvas.fillStyle = ink.ink
  canvas.textAlign = 'right'
  canvas.textBaseline = 'alphabetic'
  const unit = lane === lanes.ceiling ? 'LU' : 'dB'
  written(
    canvas,
    ink.paper,
    `${signed(span.bottomDb, 0)} ${unit}`,
    lanes.left + lanes.width - 6,
    lane.top + lane.height - 3,
  )
}

/**
 * A curve over what is seen, in pixels: through its points where they stand apart, otherwise through the extremes of each
 * column of pixels, so that two hours are drawn as fast as two minutes.
 */
function traced(
  drawing: Drawing,
  pointsDb: Float64Array,
  keeps: 'highest' | 'lowest' | 'both',
  y: (db: number) => number,
): readonly Point[] {
  const { scene, lanes, x } = drawing
  const [first, end] = hopsSeen(scene)
  if (end - first <= lanes.width) {
    return Array.from({ length: end - first }, (_, index) => [
      x((first + index + 0.5) / HOPS_PER_SECOND),
      y(pointsDb[first + index] ?? 0),
    ])
  }
  const curve: Point[] = []
  for (let column = 0; column < lanes.width; column++) {
    const [from, to] = hopsAt(scene, column, lanes.width)
    let [lowest, highest] = [Number.POSITIVE_INFINITY, Number.NEGATIVE_INFINITY]
    for (let hop = from; hop < to && hop < pointsDb.length; hop++) {
      const db = pointsDb[hop]!
      if (db < lowest) lowest = db
      if (db > highest) highest = db
    }
    if (lowest > highest) continue
    const at = lanes.left + column + 0.5
    if (keeps !== 'lowest') curve.push([at, y(highest)])
    if (keeps !== 'highest') curve.push([at, y(lowest)])
  }
  return curve
}

function path(into: Pick<Path2D, 'lineTo'>, curve: readonly Point[]): void {
  for (const [x, y] of curve) into.lineTo(x, y)
}
