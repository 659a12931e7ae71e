import type { Stretch } from '../detector.ts'
import type { Edge, QuietPiece } from './evidence.ts'

/** -80 dBFS: what stays within it beside sound is nothing but the noise of a converter. */
export const SILENCE_FLOOR = 1e-4
/** -60 dBFS: what crosses over into a lost channel may reach it. */
export const CROSSTALK_FLOOR = 1e-3
/** A wave may pass zero slowly, but not for this long and out of full swing. */
const SHORTEST_SECONDS = 0.00025
/** How much of the sound beside an edge is looked at. */
const BESIDE_SECONDS = 0.005
/** The sound beside an edge stands 30 dB above the floor: -50 dBFS for silence. */
const LOWEST_LEVEL_OVER_FLOOR = 31.6
/** So much of a stretch is zero if it was zeroed; beside it the wave may happen to be small. */
const LEAST_ZERO_SHARE = 0.75
/** A hard edge leaves at least this share of the RMS beside it, as a step or as a slope, or is a break. */
const LEAST_STEP = 0.15
/** An edge is a break where it bends the wave more than anything beside it, by this much. */
const LEAST_BREAK = 1.5
/** Sound that repeats every second sample or more beside the edge is drawn in steps: edges are its nature. */
const MOST_EQUAL_SHARE = 0.4
const MOST_PIECES = 256

/**
 * Stretches that stay within a floor between sound, with how they begin and end. A stretch that the segment's borders cut comes
 * in pieces, which are joined when all segments are known.
 */
export function findQuiet(stretch: Stretch, plane: Float32Array, floor: number): QuietPiece[] {
  const isQuiet = (sample: number) => sample <= floor && sample >= -floor
  const lowestLevel = LOWEST_LEVEL_OVER_FLOOR * floor
  const from = stretch.leadFrames
  const to = from + stretch.frameCount
  const shortest = Math.round(SHORTEST_SECONDS * stretch.sampleRateHz)
  const beside = Math.round(BESIDE_SECONDS * stretch.sampleRateHz)
  const toProgramme = stretch.firstFrame - from
  const pieces: QuietPiece[] = []
  let frame = from
  while (frame < to) {
    if (!isQuiet(plane[frame] as number)) {
      frame += 1
      continue
    }
    let start = frame
    while (start > 0 && frame === from && isQuiet(plane[start - 1] as number)) start -= 1
    let end = frame + 1
    while (end < plane.length && isQuiet(plane[end] as number)) end += 1
    frame = end
    if (end - start < shortest) continue
    const piece = {
      startFrame: Math.max(start, from) + toProgramme,
      endFrame: Math.min(end, to) + toProgramme,
      start: start < from ? null : edgeBefore(plane, start, beside, lowestLevel),
      end: end > to ? null : edgeAfter(plane, end, beside, lowestLevel),
      isZeroed: isZeroed(plane, Math.max(start, from), Math.min(end, to)),
    }
    const isInSound = [piece.start, piece.end].every((side) => side === null || side.level >= lowestLevel)
    if ((isInSound || end === plane.length) && pieces.length < MOST_PIECES) pieces.push(piece)
  }
  return pieces
}

function isZeroed(plane: Float32Array, start: number, end: number): boolean {
  let zeros = 0
  for (let frame = start; frame < end; frame++) if (plane[frame] === 0) zeros += 1
  return zeros >= LEAST_ZERO_SHARE * (end - start)
}

function edgeBefore(plane: Float32Array, start: number, beside: number, lowestLevel: number): Edge {
  const step = Math.abs((plane[start - 1] ?? 0) - (plane[start - 2] ?? 0))
  const bend = Math.max(bendAt(plane, start - 1), bendAt(plane, start))
  const cut = { step: Math.max(step, Math.abs(plane[start - 1] ?? 0)), bend }
  return edge(plane, Math.max(0, start - beside), start, cut, lowestLevel)
}

function edgeAfter(plane: Float32Array, end: number, beside: number, lowestLevel: number): Edge {
  const step = Math.abs((plane[end + 1] ?? 0) - (plane[end] ?? 0))
  const bend = Math.max(bendAt(plane, end - 1), bendAt(plane, end))
  const cut = { step: Math.max(step, Math.abs(plane[end] ?? 0)), bend }
  return edge(plane, end, Math.min(plane.length, end + beside), cut, lowestLevel)
}

/** How much the wave bends at a frame: its second difference. */
function bendAt(plane: Float32Array, frame: number): number {
  return Math.abs((plane[frame - 1] ?? 0) - 2 * (plane[frame] ?? 0) + (plane[frame + 1] ?? 0))
}

/** What the cut beside the sound in [start, end) looks like, given how the wave steps and bends there. */
function edge(
  plane: Float32Array,
  start: number,
  end: number,
  cut: { readonly step: number; readonly bend: number },
  lowestLevel: number,
): Edge {
  let energy = 0
  let bend = 0
  let equal = 0
  for (let frame = start; frame < end; frame++) {
    const sample = plane[frame] as number
    energy += sample * sample
    if (frame + 1 < end && sample === plane[frame + 1]) equal += 1
    if (frame > start && frame + 1 < end) bend = Math.max(bend, bendAt(plane, frame))
  }
  const count = Math.max(1, end - start)
  const level = Math.sqrt(energy / count)
  const isBreak = cut.bend > LEAST_BREAK * bend
  const isLoudAndAlive = level >= lowestLevel && equal <= MOST_EQUAL_SHARE * count
  return { isHard: isLoudAndAlive && (cut.step >= LEAST_STEP * level || isBreak), isBreak, level }
}
