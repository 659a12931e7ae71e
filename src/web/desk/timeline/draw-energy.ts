import { ENERGY_PARTS, HOPS_PER_SECOND, printFigure } from '../../../domain/index.ts'
import { sharesOf } from '../energy-shares.ts'
import { baseline, columnsPath, type Drawing, hatched, hopsAt } from './canvas.ts'
import { ENERGY_KEY_HEIGHT, type Lane } from './lanes.ts'

const SWATCH_PIXELS = 9
/** Tone and hatching tell the parts apart, and a name beside each: none by its colour alone. */
const STYLES = [
  { name: 'centre', ink: 'ink', alpha: 0.8, isHatched: false },
  { name: 'fronts', ink: 'tide', alpha: 0.35, isHatched: false },
  { name: 'surrounds', ink: 'paper', alpha: 1, isHatched: true },
] as const
/** A name with its share is no wider: so the names stay where they are while they are read. */
const WIDEST_SHARE = ' 100 %'

/** Where an upmix puts the energy of its five channels: shares of the whole, the centre from the floor up. */
export function drawEnergy(drawing: Drawing): void {
  const { canvas, ink, lanes, scene } = drawing
  const energy = scene.fit?.energy ?? null
  if (lanes.energy === null || energy === null) return
  const lane = belowKey(lanes.energy)
  const columns = Array.from({ length: Math.ceil(lanes.width) }, (_, column) =>
    sharesOf(energy, ...hopsAt(scene, column, lanes.width)),
  )
  for (const [part] of ENERGY_PARTS.entries()) {
    const path = columnsPath(lanes, (column) => {
      const shares = columns[column]
      if (!shares) return null
      const below = shares.slice(0, part).reduce((sum, share) => sum + share, 0)
      const lower = lane.top + lane.height * (1 - below)
      return [lower - lane.height * shares[part]!, lower]
    })
    fillPart(drawing, part, path, lane)
  }
  const before = canvas.globalAlpha
  baseline(canvas, ink, lanes, lane)
  canvas.globalAlpha = before
  drawKey(drawing, null)
}

/** The shares where it is read, in the key: words over the shares themselves would hide what they tell of. */
export function drawEnergyRead(drawing: Drawing): void {
  const { canvas, ink, lanes, scene } = drawing
  const energy = scene.fit?.energy ?? null
  if (lanes.energy === null || energy === null || scene.reading === null) return
  const hop = Math.floor(scene.reading * HOPS_PER_SECOND)
  canvas.fillStyle = ink.paper
  const width = STYLES.reduce((sum, { name }) => sum + keyPixels(drawing, name), 0)
  canvas.fillRect(lanes.left, lanes.energy.top, width, ENERGY_KEY_HEIGHT)
  drawKey(drawing, sharesOf(energy, hop, hop + 1) ?? ENERGY_PARTS.map(() => null))
}

function belowKey({ top, height }: Lane): Lane {
  return { top: top + ENERGY_KEY_HEIGHT, height: height - ENERGY_KEY_HEIGHT }
}

function fillPart(drawing: Drawing, part: number, path: Path2D, lane: Lane): void {
  const { canvas, ink, lanes } = drawing
  const style = STYLES[part]!
  canvas.save()
  canvas.globalAlpha *= style.alpha
  canvas.fillStyle = ink[style.ink]
  canvas.fill(path)
  canvas.restore()
  if (style.isHatched) hatched(drawing, path, lane, lanes.left, lanes.left + lanes.width)
}

function keyPixels({ canvas }: Drawing, name: string): number {
  return SWATCH_PIXELS + 6 + canvas.measureText(name + WIDEST_SHARE).width + 14
}

/** @param shares of the parts in order, to be written behind their names; null: of one, that nothing sounds */
function drawKey(drawing: Drawing, shares: readonly (number | null)[] | null): void {
  const { canvas, ink, lanes } = drawing
  const lane = { top: lanes.energy!.top, height: ENERGY_KEY_HEIGHT }
  const middle = lane.top + lane.height / 2 - 1
  canvas.textAlign = 'left'
  canvas.textBaseline = 'middle'
  let at = lanes.left + 6
  for (const [part, { name }] of STYLES.entries()) {
    const swatch = new Path2D()
    swatch.rect(at + 0.5, Math.round(middle - SWATCH_PIXELS / 2) + 0.5, SWATCH_PIXELS, SWATCH_PIXELS)
    fillPart(drawing, part, swatch, lane)
    canvas.strokeStyle = ink.ink
    canvas.stroke(swatch)
    canvas.fillStyle = ink.ink
    const share = shares?.[part]
    const words = shares === null ? name : `${name} ${share == null ? '–' : `${printFigure(100 * share, 0)} %`}`
    canvas.fillText(words, at + SWATCH_PIXELS + 6, middle + 0.5)
    at += keyPixels(drawing, name)
  }
}
