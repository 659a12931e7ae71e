import { loudnessOf, printFigure } from '../../../domain/index.ts'
import { columnsPath, type Drawing, hatched, hopsAt, line, written } from './canvas.ts'
import type { Lane, Lanes } from './lanes.ts'
import { type Depths, depthsOf, type Scene } from './scene.ts'

const GRID_LU = 6
const DASH_PIXELS = 6

/** The whole programme as one silhouette, with the window in view. */
export function drawOverview({ canvas, ink, scene, lanes }: Drawing): void {
  const { overview: lane, left, width } = lanes
  const whole = { ...scene, seen: { from: 0, to: scene.durationSeconds } }
  canvas.fillStyle = ink.chart
  canvas.fillRect(left, lane.top, width, lane.height)
  const depths = depthsOf(scene.spec)
  canvas.fillStyle = ink.tide
  canvas.globalAlpha = 0.6
  silhouette(canvas, lanes, lane, depths, highestOfEach(scene.after.shortTerm, whole, width))
  canvas.globalAlpha = 1
  for (const { startFrame, kind } of scene.passages) {
    if (kind === 'thinnest-margin') continue
    const at = left + (startFrame / scene.sampleRateHz / scene.durationSeconds) * width
    canvas.fillStyle = ink.rust
    canvas.fillRect(at - 1, lane.top, 2, 7)
  }
  const from = left + (scene.seen.from / scene.durationSeconds) * width
  const to = left + (scene.seen.to / scene.durationSeconds) * width
  canvas.strokeStyle = ink.brass
  canvas.lineWidth = 2
  canvas.strokeRect(from + 1, lane.top + 1, Math.max(4, to - from - 2), lane.height - 2)
  canvas.lineWidth = 1
}

/** Loudness as water against a hull: the short-term silhouette, momentary as a fine line, the spec's lines over it. */
export function drawLoudness(drawing: Drawing): void {
  const { canvas, ink, scene, lanes } = drawing
  const lane = lanes.loudness
  const depths = depthsOf(scene.spec)
  const y = (lkfs: number) => lane.top + ((depths.top - lkfs) / (depths.top - depths.bottom)) * lane.height
  drawTolerance(drawing, y)
  const shortTerm = highestOfEach(scene.after.shortTerm, scene, lanes.width)
  canvas.fillStyle = ink.tide
  canvas.globalAlpha = 0.38
  silhouette(canvas, lanes, lane, depths, shortTerm)
  canvas.globalAlpha = 1
  if (scene.points !== null) {
    canvas.strokeStyle = ink.slate
    curve(canvas, lanes, depths, y, highestOfEach(scene.before.shortTerm, scene, lanes.width), true)
  }
  canvas.strokeStyle = ink.ink
  canvas.globalAlpha = 0.55
  curve(canvas, lanes, depths, y, highestOfEach(scene.after.momentary, scene, lanes.width))
  canvas.globalAlpha = 1
  canvas.strokeStyle = ink.tide
  canvas.lineWidth = 1.5
  curve(canvas, lanes, depths, y, shortTerm)
  canvas.lineWidth = 1
  drawExcess(drawing, y, shortTerm)
  drawLines(drawing, y)
  drawPassages(drawing)
}

function drawTolerance({ canvas, ink, scene, lanes }: Drawing, y: (lkfs: number) => number): void {
  const depths = depthsOf(scene.spec)
  const { loudness: lane, left, width } = lanes
  if (scene.spec !== null) {
    const { targetLkfs, toleranceAboveLu, toleranceBelowLu } = scene.spec.programmeLoudness
    canvas.fillStyle = ink.chart
    canvas.fillRect(
      left,
      y(targetLkfs + toleranceAboveLu),
      width,
      y(targetLkfs - toleranceBelowLu) - y(targetLkfs + toleranceAboveLu),
    )
  }
  canvas.strokeStyle = ink.slate
  canvas.globalAlpha = 0.25
  const first = Math.ceil(depths.bottom / GRID_LU) * GRID_LU
  for (let level = first; level < depths.top; level += GRID_LU) line(canvas, left, y(level), left + width, y(level))
  canvas.globalAlpha = 1
  line(canvas, left, lane.top + lane.height + 0.5, left + width, lane.top + lane.height + 0.5)
}

/** What stands above a limit of short-term loudness is hatched: texture says it, colour only helps. */
function drawExcess(drawing: Drawing, y: (lkfs: number) => number, shortTerm: Float64Array): void {
  const limit = drawing.scene.spec?.maxShortTermLkfs?.value
  if (limit === undefined) return
  const { lanes, ink } = drawing
  const path = columnsPath(lanes, (column) => (shortTerm[column]! > limit ? [y(shortTerm[column]!), y(limit)] : null))
  hatched(drawing, path, lanes.loudness, lanes.left, lanes.left + lanes.width, ink.rust)
}

function drawLines({ canvas, ink, scene, lanes }: Drawing, y: (lkfs: number) => number): void {
  const { spec } = scene
  if (spec === null) return
  const { left, width } = lanes
  canvas.textBaseline = 'alphabetic'
  canvas.textAlign = 'right'
  const limits = [
    { value: spec.maxShortTermLkfs?.value, name: 'short-term' },
    { value: spec.maxMomentaryLkfs?.value, name: 'momentary' },
  ]
  for (const { value, name } of limits) {
    if (value === undefined) continue
    canvas.strokeStyle = ink.rust
    canvas.fillStyle = ink.ink
    canvas.setLineDash([9, 4])
    line(canvas, left, y(value), left + width, y(value))
    canvas.setLineDash([])
    written(canvas, ink.paper, `${name} ${printFigure(value)}`, left + width - 6, y(value) - 4)
  }
  const { targetLkfs } = spec.programmeLoudness
  canvas.strokeStyle = ink.ink
  canvas.fillStyle = ink.ink
  canvas.lineWidth = 1.5
  line(canvas, left, y(targetLkfs), left + width, y(targetLkfs))
  canvas.beginPath()
  canvas.arc(left + 14, y(targetLkfs), 5, 0, 2 * Math.PI)
  canvas.stroke()
  canvas.lineWidth = 1
  written(canvas, ink.paper, `target ${printFigure(targetLkfs)} LKFS`, left + width - 6, y(targetLkfs) - 4)
}

function drawPassages({ canvas, ink, scene, lanes, x }: Drawing): void {
  const top = lanes.loudness.top + 3
  canvas.textAlign = 'left'
  canvas.textBaseline = 'top'
  for (const { startFrame, endFrame, rank, kind } of scene.passages) {
    const from = x(startFrame / scene.sampleRateHz)
    const to = Math.max(from + 4, x(endFrame / scene.sampleRateHz))
    const isMissed = kind !== 'thinnest-margin'
    const isChosen = rank === scene.chosenPassage
    canvas.strokeStyle = isMissed ? ink.rust : ink.slate
    canvas.fillStyle = isMissed ? ink.rust : ink.slate
    canvas.lineWidth = isChosen ? 3 : 1.5
    canvas.beginPath()
    canvas.moveTo(from, top + 9)
    canvas.lineTo(from, top)
    canvas.lineTo(to, top)
    canvas.lineTo(to, top + 9)
    canvas.stroke()
    canvas.lineWidth = 1
    written(canvas, ink.paper, String(rank), from + 4, top + 4)
  }
}

/** Highest loudness under each column of pixels; NaN where there is none. */
function highestOfEach(powers: Float64Array, scene: Scene, width: number): Float64Array {
  const levels = new Float64Array(Math.ceil(width)).fill(Number.NaN)
  for (let column = 0; column < levels.length; column++) {
    const [first, end] = hopsAt(scene, column, width)
    let highest = 0
    for (let hop = Math.max(0, first); hop < end && hop < powers.length; hop++) {
      const power = powers[hop]!
      if (power > highest) highest = power
    }
    if (highest > 0) levels[column] = loudnessOf(highest)
  }
  return levels
}

function silhouette(
  canvas: CanvasRenderingContext2D,
  lanes: Lanes,
  lane: Lane,
  depths: Depths,
  levels: Float64Array,
): void {
  const floor = lane.top + lane.height
  const path = columnsPath(lanes, (column) => {
    const level = levels[column]!
    if (!(level > depths.bottom)) return null
    return [floor - Math.min(1, (level - depths.bottom) / (depths.top - depths.bottom)) * lane.height, floor]
  })
  canvas.fill(path)
}

function curve(
  canvas: CanvasRenderingContext2D,
  { left }: Lanes,
  depths: Depths,
  y: (lkfs: number) => number,
  levels: Float64Array,
  isDashed = false,
): void {
  canvas.beginPath()
  let isDown = false
  for (const [column, level] of levels.entries()) {
    // A long line is dashed much faster by its columns than by its length.
    const isSeen = level > depths.bottom && !(isDashed && column % DASH_PIXELS >= DASH_PIXELS / 2)
    if (isSeen && isDown) canvas.lineTo(left + column + 0.5, y(level))
    else if (isSeen) canvas.moveTo(left + column + 0.5, y(level))
    isDown = isSeen
  }
  canvas.stroke()
}
