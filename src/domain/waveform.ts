import { framesPerFineHop } from './grid.ts'

/** Full scale of a point's two values. */
export const WAVEFORM_FULL_SCALE = 32768
/** Points of each channel that travel at a time. */
export const WAVEFORM_TILE_POINTS = 1024
/** Closer than 10 ms nothing is kept: such points are made of the samples when they are looked at. */
const FINEST_FRAMES = 32
const FINE_HOPS: readonly number[] = [1, 4, 16, 64, 256]
const COARSER = 4

/**
 * The lowest and the highest sample of each channel in equal stretches of a programme: for each channel its points, two
 * values each, as shares of full scale in 16 bits. The lowest is rounded down and the highest up: no peak is lost.
 */
export type WaveformPoints = readonly Int16Array[]

/** The same at each kept level, from 10 ms on, every level with stretches four times as long as the one before. */
export type Waveform = { readonly levels: readonly WaveformPoints[] }

/** Frames under a point at each level, the finest first; that one is not kept. */
export function waveformSteps(sampleRateHz: number): readonly number[] {
  return [FINEST_FRAMES, ...FINE_HOPS.map((hops) => hops * framesPerFineHop(sampleRateHz))]
}

/** Joins the points of a programme's segments and makes the coarser levels from them. */
export function waveformOf(segments: readonly WaveformPoints[]): Waveform {
  const finest = (segments[0] ?? []).map((_, channel) =>
    joined(segments.map((points) => points[channel] as Int16Array)),
  )
  const levels = [finest]
  while (levels.length < FINE_HOPS.length) levels.push((levels.at(-1) as Int16Array[]).map(coarser))
  return { levels }
}

/** One tile of a level: its points channel after channel; a tile behind the end of the programme is empty. */
export function waveformTile(points: WaveformPoints, tile: number): Int16Array {
  const from = 2 * WAVEFORM_TILE_POINTS * tile
  return joined(points.map((channel) => channel.subarray(from, from + 2 * WAVEFORM_TILE_POINTS)))
}

function coarser(points: Int16Array): Int16Array {
  const count = points.length / 2
  const kept = new Int16Array(2 * Math.ceil(count / COARSER))
  for (let point = 0; point < kept.length / 2; point++) {
    let [lowest, highest] = [WAVEFORM_FULL_SCALE, -WAVEFORM_FULL_SCALE]
    const end = Math.min(count, (point + 1) * COARSER)
    for (let i = point * COARSER; i < end; i++) {
      lowest = Math.min(lowest, points[2 * i] as number)
      highest = Math.max(highest, points[2 * i + 1] as number)
    }
    kept[2 * point] = lowest
    kept[2 * point + 1] = highest
  }
  return kept
}

function joined(parts: readonly Int16Array[]): Int16Array {
  const whole = new Int16Array(parts.reduce((sum, part) => sum + part.length, 0))
  let next = 0
  for (const part of parts) {
    whole.set(part, next)
    next += part.length
  }
  return whole
}
