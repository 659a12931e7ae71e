import { TRUE_PEAK_PHASES } from '../../../dsp/index.ts'
import type { Stretch } from '../detector.ts'
import type { ChannelEvidence, Over } from './evidence.ts'

const TAPS = 12
/** A point of the interpolation lies between the samples this many and one less before its newest one. */
const DELAY = 6
const BLOCK_FRAMES = 32
/** Points closer together than this are one over. */
const JOIN_FRAMES = 24
const MOST_KEPT = 12
/** Samples from here on are at full scale, also those of 16-bit words: what they do is clipping, not an over. */
export const FULL_SCALE = 1 - 1 / 16384

/**
 * Bounds on an interpolated point from the highest |x| and the highest second difference of its samples, a hair above
 * the exact sums of the taps written as one sample and second differences (inner phases) or likewise (outer phases).
 */
const INNER_FLAT = 0.9731
const INNER_CURVED = 0.5698
const INNER_STEEP = 1.0069
const INNER_STEEP_CURVED = 0.365
const OUTER_FLAT = 1.0016
const OUTER_CURVED = 0.1524

const [OUTER, INNER] = TRUE_PEAK_PHASES.map((phase) => Float64Array.from(phase)) as [Float64Array, Float64Array]

/**
 * Points above full scale between samples that are below it.
 * @source ITU-R BS.1770-5 Annex 2, four-times interpolation
 */
export function findOvers(stretch: Stretch, plane: Float32Array): ChannelEvidence['overs'] {
  const overs = new OverList(stretch.firstFrame - stretch.leadFrames)
  const end = Math.min(plane.length, stretch.leadFrames + stretch.frameCount + DELAY)
  for (let start = Math.max(TAPS, stretch.leadFrames + DELAY); start < end; start += BLOCK_FRAMES) {
    const blockEnd = Math.min(end, start + BLOCK_FRAMES)
    if (mayHide(plane, start - TAPS + 1, blockEnd)) lookBetween(overs, plane, start, blockEnd)
  }
  return overs.close()
}

function mayHide(plane: Float32Array, first: number, end: number): boolean {
  let peak = 0
  for (let frame = first; frame < end; frame++) {
    const size = Math.abs(plane[frame] as number)
    if (size > peak) peak = size
  }
  if (peak * INNER_FLAT + 4 * peak * INNER_CURVED <= 1) return false
  let curvature = 0
  for (let frame = first + 1; frame + 1 < end; frame++) {
    const bend = Math.abs((plane[frame - 1] as number) - 2 * (plane[frame] as number) + (plane[frame + 1] as number))
    if (bend > curvature) curvature = bend
  }
  return (
    peak * OUTER_FLAT + curvature * OUTER_CURVED > 1 ||
    (peak * INNER_FLAT + curvature * INNER_CURVED > 1 && peak * INNER_STEEP + curvature * INNER_STEEP_CURVED > 1)
  )
}

function lookBetween(overs: OverList, plane: Float32Array, start: number, end: number): void {
  for (let newest = start; newest < end; newest++) {
    const left = Math.abs(plane[newest - DELAY] as number)
    const right = Math.abs(plane[newest - DELAY + 1] as number)
    if (left >= FULL_SCALE || right >= FULL_SCALE) continue
    let [a, b, c, d] = [0, 0, 0, 0]
    for (let tap = 0; tap < TAPS; tap++) {
      const late = plane[newest - tap] as number
      const early = plane[newest - TAPS + 1 + tap] as number
      a += late * (OUTER[tap] as number)
      b += late * (INNER[tap] as number)
      c += early * (INNER[tap] as number)
      d += early * (OUTER[tap] as number)
    }
    const value = Math.max(Math.abs(a), Math.abs(b), Math.abs(c), Math.abs(d))
    if (value > 1) overs.add(newest - DELAY, value)
  }
}

/** Joins neighbouring points and keeps the highest. */
class OverList {
  readonly #toProgramme: number
  readonly #highest: Over[] = []
  #count = 0
  #open: { startFrame: number; endFrame: number; value: number } | null = null

  constructor(toProgramme: number) {
    this.#toProgramme = toProgramme
  }

  add(frame: number, value: number): void {
    const open = this.#open
    if (open !== null && frame + this.#toProgramme <= open.endFrame + JOIN_FRAMES) {
      open.endFrame = frame + 1 + this.#toProgramme
      open.value = Math.max(open.value, value)
      return
    }
    this.#shut()
    const startFrame = frame + this.#toProgramme
    this.#open = { startFrame, endFrame: startFrame + 1, value }
  }

  close(): ChannelEvidence['overs'] {
    this.#shut()
    return { count: this.#count, highest: this.#highest.toSorted((a, b) => a.startFrame - b.startFrame) }
  }

  #shut(): void {
    if (this.#open === null) return
    this.#count += 1
    this.#highest.push(this.#open)
    this.#highest.sort((a, b) => b.value - a.value)
    this.#highest.length = Math.min(this.#highest.length, MOST_KEPT)
    this.#open = null
  }
}
