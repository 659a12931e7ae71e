import { HOPS_PER_SECOND, powerToDb, printFigure } from '../../../domain/index.ts'
import { baseline, bracket, type Drawing, hopsAt, hopsSeen, line } from './canvas.ts'
import { drawFit } from './draw-fit.ts'
import { drawLoudness, drawOverview } from './draw-loudness.ts'
import { drawScenes } from './draw-scenes.ts'
import type { Lane, Lanes } from './lanes.ts'
import { type Ink, type Scene, TRIM_SPAN_DB } from './scene.ts'
import { rulerSeconds } from './time-window.ts'

const FONT = '12px "IBM Plex Sans", sans-serif'
const RULER_PIXELS = 110
const CHANNEL_DEPTH_DB = 54

export function drawTimeline(canvas: CanvasRenderingContext2D, ink: Ink, scene: Scene, lanes: Lanes): void {
  const { from, to } = scene.seen
  const x = (seconds: number) => lanes.left + ((seconds - from) / (to - from)) * lanes.width
  const drawing = { canvas, ink, scene, lanes, x }
  canvas.font = FONT
  canvas.fillStyle = ink.paper
  canvas.fillRect(0, 0, lanes.left + lanes.width + 100, lanes.height)
  drawOverview(drawing)
  drawRuler(drawing)
  clipped(drawing, () => {
    drawSelection(drawing)
    drawScenes(drawing)
    drawLoudness(drawing)
    drawDialogue(drawing)
    drawTrims(drawing)
    drawFit(drawing)
    drawChannels(drawing)
    drawReading(drawing)
    drawPlayhead(drawing)
  })
  drawNames(drawing)
}

/** Keeps what is drawn over time off the names. */
function clipped({ canvas, lanes }: Drawing, draw: () => void): void {
  canvas.save()
  canvas.beginPath()
  canvas.rect(lanes.left, lanes.ruler.top, lanes.width, lanes.height - lanes.ruler.top)
  canvas.clip()
  draw()
  canvas.restore()
}

function drawRuler({ canvas, ink, scene, lanes, x }: Drawing): void {
  const floor = lanes.ruler.top + lanes.ruler.height
  canvas.fillStyle = ink.slate
  canvas.strokeStyle = ink.slate
  canvas.textAlign = 'left'
  canvas.textBaseline = 'middle'
  canvas.lineWidth = 1
  canvas.beginPath()
  canvas.moveTo(lanes.left, floor - 0.5)
  canvas.lineTo(lanes.left + lanes.width, floor - 0.5)
  for (const seconds of rulerSeconds(scene.seen, lanes.width, RULER_PIXELS)) {
    const at = Math.round(x(seconds)) + 0.5
    canvas.moveTo(at, floor - 6)
    canvas.lineTo(at, floor)
    const label = scene.label(Math.round(seconds * scene.sampleRateHz))
    if (at + canvas.measureText(label).width < lanes.left + lanes.width) {
      canvas.fillText(label, at + 4, lanes.ruler.top + 8)
    }
  }
  canvas.stroke()
}

function drawSelection({ canvas, ink, scene, lanes, x }: Drawing): void {
  const { selection, sampleRateHz } = scene
  if (selection === null) return
  const from = x(selection.startFrame / sampleRateHz)
  const to = x(selection.endFrame / sampleRateHz)
  canvas.globalAlpha = 0.16
  canvas.fillStyle = ink.brass
  canvas.fillRect(from, lanes.loudness.top, to - from, lanes.height - lanes.loudness.top)
  canvas.globalAlpha = 1
  canvas.strokeStyle = ink.brass
  canvas.strokeRect(from, lanes.loudness.top + 0.5, to - from, lanes.height - lanes.loudness.top - 1)
}

function drawDialogue({ canvas, ink, scene, lanes, x }: Drawing): void {
  const { dialogue } = lanes
  if (dialogue === null || scene.speech === null) return
  canvas.fillStyle = ink.ink
  const [first, end] = hopsSeen(scene)
  for (let hop = first; hop < end; ) {
    let last = hop
    while (last < end && scene.speech[last] === 1) last++
    if (last > hop) {
      const from = x(hop / HOPS_PER_SECOND)
      canvas.fillRect(from, dialogue.top + 2, Math.max(1, x(last / HOPS_PER_SECOND) - from), dialogue.height - 4)
    }
    hop = last + 1
  }
  baseline(canvas, ink, lanes, dialogue)
}

function drawTrims({ canvas, ink, scene, lanes, x }: Drawing): void {
  const { trims } = lanes
  const middle = trims.top + trims.height / 2
  const y = (db: number) =>
    middle - (Math.max(-TRIM_SPAN_DB, Math.min(TRIM_SPAN_DB, db)) / TRIM_SPAN_DB) * (trims.height / 2)
  canvas.fillStyle = ink.chart
  canvas.fillRect(lanes.left, trims.top, lanes.width, trims.height)
  canvas.strokeStyle = ink.slate
  canvas.setLineDash([2, 3])
  line(canvas, lanes.left, middle, lanes.left + lanes.width, middle)
  canvas.setLineDash([])
  for (const lock of scene.locks) {
    const [from, to] = [x(lock.startFrame / scene.sampleRateHz), x(lock.endFrame / scene.sampleRateHz)]
    bracket(canvas, ink.ink, from, to, trims)
    canvas.fillStyle = ink.ink
    canvas.textAlign = 'left'
    canvas.fillText(
      lock.toleranceDb === 0 ? 'locked' : `within ${printFigure(lock.toleranceDb)} dB`,
      from + 6,
      trims.top + 9,
    )
  }
  for (const [index, trim] of scene.trims.entries()) {
    const [from, to] = [x(trim.startFrame / scene.sampleRateHz), x(trim.endFrame / scene.sampleRateHz)]
    const isChosen = index === scene.chosenTrim
    canvas.globalAlpha = isChosen ? 0.5 : 0.25
    canvas.fillStyle = ink.brass
    canvas.fillRect(from, Math.min(middle, y(trim.gainDb)), to - from, Math.abs(y(trim.gainDb) - middle))
    canvas.globalAlpha = 1
    const words = `${trim.gainDb > 0 ? '+' : ''}${printFigure(trim.gainDb)} dB`
    canvas.fillStyle = ink.ink
    canvas.textAlign = 'left'
    if (isChosen || canvas.measureText(words).width < to - from - 8)
      canvas.fillText(words, from + 4, middle + (trim.gainDb > 0 ? 10 : -9))
  }
  if (scene.points !== null) drawGain(canvas, ink, scene.points, scene, x, y)
}

function drawGain(
  canvas: CanvasRenderingContext2D,
  ink: Ink,
  points: Float64Array,
  scene: Scene,
  x: (seconds: number) => number,
  y: (db: number) => number,
): void {
  const [first, end] = hopsSeen(scene)
  canvas.strokeStyle = ink.brass
  canvas.lineWidth = 2
  canvas.beginPath()
  for (let hop = first; hop < end; hop++) {
    const isFlat = points[hop] === points[hop - 1] && points[hop] === points[hop + 1]
    if (isFlat && hop !== first && hop !== end - 1) continue
    canvas.lineTo(x((hop + 0.5) / HOPS_PER_SECOND), y(points[hop]!))
  }
  canvas.stroke()
  canvas.lineWidth = 1
}

function drawChannels({ canvas, ink, scene, lanes }: Drawing): void {
  for (const [index, { powers }] of scene.channels.entries()) {
    const lane = lanes.channels[index]!
    canvas.fillStyle = ink.slate
    canvas.globalAlpha = 0.75
    for (let column = 0; column < lanes.width; column++) {
      const [first, end] = hopsAt(scene, column, lanes.width)
      let highest = 0
      for (let hop = first; hop < end; hop++) highest = Math.max(highest, powers[hop] ?? 0)
      if (highest === 0) continue
      const share = Math.max(0, Math.min(1, 1 + powerToDb(highest) / CHANNEL_DEPTH_DB))
      canvas.fillRect(lanes.left + column, lane.top + lane.height * (1 - share), 1, lane.height * share)
    }
    canvas.globalAlpha = 1
    baseline(canvas, ink, lanes, lane)
  }
}

function drawReading({ canvas, ink, scene, lanes, x }: Drawing): void {
  if (scene.reading === null) return
  const at = Math.round(x(scene.reading)) + 0.5
  canvas.strokeStyle = ink.brass
  canvas.lineWidth = 1.5
  line(canvas, at, lanes.ruler.top, at, lanes.height)
  canvas.lineWidth = 1
}

function drawPlayhead({ canvas, ink, scene, lanes, x }: Drawing): void {
  if (scene.playing === null) return
  const at = Math.round(x(scene.playing / scene.sampleRateHz)) + 0.5
  canvas.strokeStyle = ink.ink
  canvas.fillStyle = ink.ink
  canvas.lineWidth = 1.5
  line(canvas, at, lanes.ruler.top + 12, at, lanes.height)
  canvas.lineWidth = 1
  canvas.beginPath()
  canvas.moveTo(at - 5, lanes.ruler.top + 8)
  canvas.lineTo(at + 5, lanes.ruler.top + 8)
  canvas.lineTo(at, lanes.ruler.top + 16)
  canvas.fill()
}

function drawNames({ canvas, ink, scene, lanes }: Drawing): void {
  canvas.fillStyle = ink.slate
  canvas.textAlign = 'right'
  canvas.textBaseline = 'middle'
  const name = (words: string, { top, height }: Lane) => canvas.fillText(words, lanes.left - 8, top + height / 2)
  name('whole', lanes.overview)
  if (lanes.scenes !== null) name('scenes', lanes.scenes)
  if (lanes.dialogue !== null) name('dialogue', lanes.dialogue)
  name('trims', lanes.trims)
  if (lanes.fitWords !== null) name('fit', lanes.fitWords)
  if (lanes.ride !== null) name('ride', lanes.ride)
  if (lanes.ceiling !== null) name('ceiling', lanes.ceiling)
  if (lanes.bands !== null) name('bands', lanes.bands)
  for (const [index, { role }] of scene.channels.entries()) name(role, lanes.channels[index]!)
}
