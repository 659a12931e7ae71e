import { HOPS_PER_SECOND } from '../../../domain/index.ts'
import { baseline, type Drawing, hopsSeen, line } from './canvas.ts'
import { drawChannels } from './draw-channels.ts'
import { drawDecided } from './draw-decided.ts'
import { drawFit } from './draw-fit.ts'
import { drawLoudness, drawOverview } from './draw-loudness.ts'
import { drawReading } from './draw-reading.ts'
import { drawScenes } from './draw-scenes.ts'
import type { Lanes } from './lanes.ts'
import type { Ink, Scene } from './scene.ts'
import { rulerSeconds } from './time-window.ts'

export const FONT = '12px "IBM Plex Sans", sans-serif'
const RULER_PIXELS = 110

/** Lanes that are drawn together, and all that they are drawn of. */
type Part = {
  readonly top: number
  readonly bottom: number
  readonly reads: (name: keyof Scene) => boolean
  readonly draw: (drawing: Drawing) => void
}

const MOVES: readonly (keyof Scene)[] = ['reading', 'playing']
const OF_TIME: readonly (keyof Scene)[] = ['seen', 'selection', 'durationSeconds', 'sampleRateHz']
const OF_FIT: readonly (keyof Scene)[] = ['canBeFitted', 'fit', 'isFitOld']
const OF_CHANNELS: readonly (keyof Scene)[] = ['channels', 'waveform']

function partsOf({ fitWords, channels, height }: Lanes): readonly Part[] {
  const channelsTop = channels[0]?.top ?? height
  const fitTop = fitWords?.top ?? channelsTop
  const isElsewhere = [...MOVES, ...OF_FIT, ...OF_CHANNELS]
  return [
    { top: 0, bottom: fitTop, reads: (name) => !isElsewhere.includes(name), draw: drawDecisions },
    { top: fitTop, bottom: channelsTop, reads: (name) => [...OF_TIME, ...OF_FIT].includes(name), draw: drawFit },
    {
      top: channelsTop,
      bottom: height,
      reads: (name) => [...OF_TIME, ...OF_CHANNELS].includes(name),
      draw: drawChannels,
    },
  ]
}

/**
 * The lanes with all that stands on them.
 * @param before what stands on the canvas, so that only what differs is drawn; null: nothing does
 */
export function drawTimeline(
  canvas: CanvasRenderingContext2D,
  ink: Ink,
  scene: Scene,
  lanes: Lanes,
  before: Scene | null,
): void {
  const drawing = drawingOf(canvas, ink, scene, lanes)
  const isSame = (name: keyof Scene) => before !== null && Object.is(before[name], scene[name])
  canvas.font = FONT
  for (const part of partsOf(lanes)) {
    if ((Object.keys(scene) as (keyof Scene)[]).filter(part.reads).every(isSame)) continue
    canvas.save()
    canvas.beginPath()
    canvas.rect(0, part.top, lanes.left + lanes.width + 100, part.bottom - part.top)
    canvas.clip()
    canvas.fillStyle = ink.paper
    canvas.fill()
    clipped(drawing, () => drawSelection(drawing))
    part.draw(drawing)
    canvas.restore()
  }
}

/** All above the fit. */
function drawDecisions(drawing: Drawing): void {
  drawOverview(drawing)
  drawRuler(drawing)
  clipped(drawing, () => {
    drawScenes(drawing)
    drawLoudness(drawing)
    drawDialogue(drawing)
    drawDecided(drawing)
  })
}

/** What moves over the lanes on its own: the place that is heard, and the reading line. */
export function drawMoving(canvas: CanvasRenderingContext2D, ink: Ink, scene: Scene, lanes: Lanes): void {
  const drawing = drawingOf(canvas, ink, scene, lanes)
  canvas.font = FONT
  canvas.clearRect(0, 0, lanes.left + lanes.width + 100, lanes.height)
  clipped(drawing, () => {
    drawPlayhead(drawing)
    drawReading(drawing)
  })
}

function drawingOf(canvas: CanvasRenderingContext2D, ink: Ink, scene: Scene, lanes: Lanes): Drawing {
  const { from, to } = scene.seen
  return { canvas, ink, scene, lanes, x: (seconds) => lanes.left + ((seconds - from) / (to - from)) * lanes.width }
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
