import { readingsAt } from '../readings.ts'
import { type Drawing, line, written } from './canvas.ts'
import { drawEnergyRead } from './draw-energy.ts'
import type { Lane } from './lanes.ts'

const AWAY_PIXELS = 7
/** What the ends of a lane stand for is written there. */
const SCALE_PIXELS = 46
const LINE_PIXELS = 15

/** The reading line: the instant at its head, and what each lane has there beside it. */
export function drawReading(drawing: Drawing): void {
  const { canvas, ink, scene, lanes, x } = drawing
  if (scene.reading === null) return
  const at = Math.round(x(scene.reading)) + 0.5
  canvas.strokeStyle = ink.brass
  canvas.lineWidth = 1.5
  line(canvas, at, lanes.ruler.top, at, lanes.height)
  canvas.lineWidth = 1
  onRuler(drawing, at, scene.label(Math.round(scene.reading * scene.sampleRateHz)))
  drawEnergyRead(drawing)
  const { lanes: read, channels } = readingsAt(scene, scene.reading)
  for (const { lane, words } of read) {
    // Said by the words that stand on the lane, and of what is marked on it.
    const isSaid =
      lane === 'fitWords' || lane === 'dialogue' || lane === 'energy' || (lane === 'ride' && scene.fit?.ride === null)
    const place = lanes[lane]
    if (!isSaid && place !== null) beside(drawing, at, place, words)
  }
  for (const [index, { words }] of channels.entries()) beside(drawing, at, lanes.channels[index]!, [words])
}

/** The instant covers the ruler's own labels. */
function onRuler({ canvas, ink, lanes }: Drawing, at: number, label: string): void {
  const width = canvas.measureText(label).width + 2 * AWAY_PIXELS
  const from = at + width > lanes.left + lanes.width ? at - width : at
  canvas.fillStyle = ink.paper
  canvas.fillRect(from, lanes.ruler.top, width, lanes.ruler.height - 6)
  canvas.fillStyle = ink.ink
  canvas.textAlign = 'left'
  canvas.textBaseline = 'middle'
  canvas.fillText(label, from + AWAY_PIXELS, lanes.ruler.top + 8)
}

/** Words at the foot of a lane, right of the line, or left of it where there is no room. */
function beside({ canvas, ink, lanes }: Drawing, at: number, { top, height }: Lane, words: readonly string[]): void {
  canvas.fillStyle = ink.ink
  canvas.textBaseline = 'middle'
  for (const [index, one] of words.toReversed().entries()) {
    const isLeft = at + AWAY_PIXELS + canvas.measureText(one).width > lanes.left + lanes.width - SCALE_PIXELS
    canvas.textAlign = isLeft ? 'right' : 'left'
    const foot = top + height - Math.min(height / 2, LINE_PIXELS / 2 + 1)
    written(canvas, ink.paper, one, at + (isLeft ? -AWAY_PIXELS : AWAY_PIXELS), foot - index * LINE_PIXELS)
  }
}
