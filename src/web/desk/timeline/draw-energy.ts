import { ENERGY_PARTS, type EnergyDivision } from '../../../domain/index.ts'
import { sharesOf } from '../energy-shares.ts'
import { baseline, type Drawing, hatched, hopsAt, written } from './canvas.ts'

const SWATCH_PIXELS = 9
/** Tone and hatching tell the parts apart, and a name beside each: none by its colour alone. */
const STYLES = [
  { name: 'centre', ink: 'ink', alpha: 0.8, isHatched: false },
  { name: 'fronts', ink: 'tide', alpha: 0.35, isHatched: false },
  { name: 'surrounds', ink: 'paper', alpha: 1, isHatched: true },
] as const

/** Where an upmix puts the energy of its five channels: shares of the whole, the centre from the floor up. */
export function drawEnergy(drawing: Drawing, energy: EnergyDivision | null): void {
  const { canvas, ink, lanes, scene } = drawing
  const lane = lanes.energy
  if (lane === null || energy === null) return
  const columns = Math.ceil(lanes.width)
  const parts = ENERGY_PARTS.map(() => new Path2D())
  for (let column = 0; column < columns; column++) {
    const shares = sharesOf(energy, ...hopsAt(scene, column, lanes.width))
    if (shares === null) continue
    let floor = lane.top + lane.height
    for (const [part, share] of shares.entries()) {
      parts[part]!.rect(lanes.left + column, floor - share * lane.height, 1, share * lane.height)
      floor -= share * lane.height
    }
  }
  for (const [part, path] of parts.entries()) fillPart(drawing, part, path)
  const before = canvas.globalAlpha
  baseline(canvas, ink, lanes, lane)
  canvas.globalAlpha = before
  drawKey(drawing)
}

function fillPart(drawing: Drawing, part: number, path: Path2D): void {
  const { canvas, ink, lanes } = drawing
  const style = STYLES[part]!
  canvas.save()
  canvas.globalAlpha *= style.alpha
  canvas.fillStyle = ink[style.ink]
  canvas.fill(path)
  canvas.restore()
  if (style.isHatched) hatched(drawing, path, lanes.energy!, lanes.left, lanes.left + lanes.width)
}

function drawKey(drawing: Drawing): void {
  const { canvas, ink, lanes } = drawing
  const y = lanes.energy!.top + SWATCH_PIXELS
  canvas.textAlign = 'left'
  canvas.textBaseline = 'middle'
  let at = lanes.left + 6
  for (const [part, { name }] of STYLES.entries()) {
    const swatch = new Path2D()
    swatch.rect(at, y - SWATCH_PIXELS / 2, SWATCH_PIXELS, SWATCH_PIXELS)
    canvas.fillStyle = ink.paper
    canvas.fill(swatch)
    fillPart(drawing, part, swatch)
    canvas.strokeStyle = ink.ink
    canvas.stroke(swatch)
    canvas.fillStyle = ink.ink
    written(canvas, ink.paper, name, at + SWATCH_PIXELS + 4, y)
    at += SWATCH_PIXELS + 4 + canvas.measureText(name).width + 14
  }
}
