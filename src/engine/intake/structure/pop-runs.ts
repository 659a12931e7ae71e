import type { Stretch } from '../detector.ts'
import type { ToneRun } from './evidence.ts'
import { toneFrequency } from './tone-frequency.ts'
import { fitTurn, type ToneDistances } from './tone-hops.ts'
import { type HopLane, hasNothingBeside, SIDE_HOPS } from './tone-runs.ts'

/** One picture: 16.7 ms at 60 a second to 41.7 ms at 23.976, with room for soft edges. */
const SHORTEST_SECONDS = 0.014
const LONGEST_SECONDS = 0.055
/** -40 dBFS: a pop is as loud as the line-up tone, or not much softer. */
const FAINTEST_POWER = 5e-5
/** A pop stands alone: around it is no more than this share of its power (-30 dB) ... */
const LARGEST_POWER_AROUND = 1e-3
/** ... for so long on each side. */
const QUIET_HOPS = 20
/** What may be left of the sine's equation over the whole pop: its edges may be soft. */
const LARGEST_REST = 0.03
/** An edge is where the sine passes this share of its amplitude. */
const EDGE_SHARE = 0.03

/** Finds one-picture tones between silences in one channel of a stretch, by the segment in which they begin. */
export function popRuns(
  stretch: Stretch,
  channel: number,
  lanes: readonly HopLane[],
  hopFrames: number,
  distances: ToneDistances,
): ToneRun[] {
  const lane = lanes[channel]!
  const plane = stretch.planes[channel]!
  const zero = stretch.leadFrames - SIDE_HOPS * hopFrames
  const longestHops = Math.ceil((LONGEST_SECONDS * stretch.sampleRateHz) / hopFrames) + 1
  const runs: ToneRun[] = []
  for (let hop = SIDE_HOPS; hop < lane.length; hop++) {
    const island = islandFrom(lane, hop, longestHops)
    if (island === null || !hasNothingBeside(lanes, channel, hop, island)) continue
    const run = describePop(plane, zero + hop * hopFrames, zero + island * hopFrames, distances, stretch.sampleRateHz)
    hop = island
    const startFrame = (run?.startInPlane ?? 0) + stretch.firstFrame - stretch.leadFrames
    if (run === null || startFrame >= stretch.firstFrame + stretch.frameCount) continue
    const { length, frequencyHz, power } = run
    runs.push({ channel, startFrame, endFrame: startFrame + length, frequencyHz, power })
  }
  return runs
}

/** The hop behind an island that begins at `first`; null where none does. */
function islandFrom(lane: HopLane, first: number, longestHops: number): number | null {
  let loudest = lane[first]?.power ?? 0
  if (loudest === 0 || (lane[first - 1]?.power ?? 0) > loudest * LARGEST_POWER_AROUND) return null
  let end = first
  while (end < lane.length && (lane[end]?.power ?? 0) > loudest * LARGEST_POWER_AROUND) {
    loudest = Math.max(loudest, lane[end]!.power)
    if (++end - first > longestHops) return null
  }
  if (loudest < FAINTEST_POWER) return null
  for (let side = 0; side < QUIET_HOPS; side++) {
    if ((lane[first - 1 - side]?.power ?? 0) > loudest * LARGEST_POWER_AROUND) return null
    if ((lane[end + side]?.power ?? 0) > loudest * LARGEST_POWER_AROUND) return null
  }
  return end
}

function describePop(plane: Float32Array, from: number, to: number, distances: ToneDistances, sampleRateHz: number) {
  let amplitude = 0
  for (let n = from; n < to; n++) amplitude = Math.max(amplitude, Math.abs(plane[n]!))
  let start = from
  while (start < to && Math.abs(plane[start]!) < EDGE_SHARE * amplitude) start++
  let end = to
  while (end > start && Math.abs(plane[end - 1]!) < EDGE_SHARE * amplitude) end--
  const length = end - start
  if (length < SHORTEST_SECONDS * sampleRateHz || length > LONGEST_SECONDS * sampleRateHz) return null
  for (const distance of [distances.short, distances.long]) {
    if (fitTurn(plane, start + distance, end - distance, distance).rest > LARGEST_REST) return null
  }
  // A sine that begins in phase 0 has one sample of silence that belongs to it.
  const { turn } = fitTurn(plane, start + 1, end - 1, 1)
  const before = 2 * turn * plane[start]! - plane[start + 1]!
  const startInPlane = Math.abs(before) < EDGE_SHARE * amplitude && start > 0 ? start - 1 : start
  let sum = 0
  for (let n = start; n < end; n++) sum += plane[n]! * plane[n]!
  const frequencyHz = toneFrequency(plane, start, end, sampleRateHz)
  return { startInPlane, length: end - startInPlane, frequencyHz, power: sum / length }
}
