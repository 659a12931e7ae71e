import { sceneWords } from '../scene-list.tsx'
import { bracket, type Drawing, line } from './canvas.ts'
import { bordersOf, handlePixels } from './scene-lane.ts'

const HANDLE_PIXELS = 6
/** Closer borders are drawn without their handles. */
const LEAST_ROOM_PIXELS = 28

/** Scenes of the upmix by their names, the glides between them, and what a glide is drawn out by. */
export function drawScenes({ canvas, ink, scene, lanes, x }: Drawing): void {
  const lane = lanes.scenes
  if (lane === null) return
  canvas.textAlign = 'left'
  canvas.textBaseline = 'middle'
  const middle = lane.top + lane.height / 2
  if (scene.scenes.length === 0) {
    canvas.fillStyle = ink.slate
    canvas.fillText('one upmix throughout; S splits it at the cursor', lanes.left + 7, middle)
  }
  for (const [index, placed] of scene.scenes.entries()) {
    const [from, to] = [x(placed.startFrame / scene.sampleRateHz), x(placed.endFrame / scene.sampleRateHz)]
    const isChosen = index === scene.chosenScene
    canvas.fillStyle = ink.chart
    canvas.fillRect(from, lane.top, to - from, lane.height)
    bracket(canvas, isChosen ? ink.brass : ink.slate, from + 0.5, to - 0.5, lane)
    if (isChosen) {
      canvas.fillStyle = ink.brass
      canvas.fillRect(from, lane.top + lane.height - 3, to - from, 3)
    }
    canvas.fillStyle = ink.ink
    const words = sceneWords(placed)
    const start = Math.max(from, lanes.left) + 7
    if (start + canvas.measureText(words).width < to - 12) canvas.fillText(words, start, middle)
  }
  drawGlides({ canvas, ink, scene, lanes, x })
}

/** A glide as two lines that cross: one set of settings goes, the other comes. */
function drawGlides({ canvas, ink, scene, lanes, x }: Drawing): void {
  const lane = lanes.scenes!
  const pixelsPerSecond = lanes.width / (scene.seen.to - scene.seen.from)
  const bottom = lane.top + lane.height
  const borders = bordersOf(scene)
  for (const [index, border] of borders.entries()) {
    const at = x(border.seconds)
    const half = border.halfGlideSeconds * pixelsPerSecond
    canvas.strokeStyle = ink.ink
    line(canvas, at - half, lane.top, at + half, bottom)
    line(canvas, at - half, bottom, at + half, lane.top)
    const rooms = [borders[index - 1], borders[index + 1]].map((other) =>
      other === undefined ? Number.POSITIVE_INFINITY : Math.abs(x(other.seconds) - at),
    )
    if (Math.min(...rooms) < LEAST_ROOM_PIXELS) continue
    const handle = handlePixels(border, pixelsPerSecond)
    canvas.fillStyle = ink.brass
    for (const side of [-1, 1]) {
      canvas.beginPath()
      canvas.moveTo(at + side * handle, lane.top)
      canvas.lineTo(at + side * handle - side * HANDLE_PIXELS, lane.top)
      canvas.lineTo(at + side * handle, lane.top + HANDLE_PIXELS)
      canvas.fill()
    }
  }
}
