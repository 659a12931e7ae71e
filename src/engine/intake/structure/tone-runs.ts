import type { Stretch } from '../detector.ts'
import type { ToneRun } from './evidence.ts'
import { toneFrequency } from './tone-frequency.ts'
import type { HopSketch, ToneDistances } from './tone-hops.ts'

/** Hops on each side of the segment that are looked at too, so that a short tone on the border is seen whole. */
export const SIDE_HOPS = 20

/** A tone keeps its level within this factor of power (1 dB) ... */
const LARGEST_POWER_STEP = 1.26
/** ... and its pitch within this difference of cos(w d). */
const LARGEST_TURN_STEP = 0.05
/** Tones of 100 ms and more; shorter ones are pops or nothing. */
const SHORTEST_RUN_HOPS = 10
/** A tone stands alone: no more than this share of its power (-30 dB) is in other channels. */
const LARGEST_POWER_BESIDE = 1e-3
/** Hops at the edges of a tone may be shared with something else. */
const LARGEST_DISTURBED_SHARE = 0.25
/** Rumble and offsets that come and go look like slow sines. */
const LOWEST_HZ = 60
/** How far an edge is looked for. */
const EDGE_HOPS = 2
/** Ten seconds give the frequency to a thousandth of a hertz. */
const LONGEST_LOOK_SECONDS = 10

/** The hops of one channel: index 0 is hop `-SIDE_HOPS` of the segment; null outside the programme. */
export type HopLane = readonly (HopSketch | null)[]

/** Finds the pure steady tones of one channel of a stretch. */
export function toneRuns(
  stretch: Stretch,
  channel: number,
  lanes: readonly HopLane[],
  hopFrames: number,
  distances: ToneDistances,
): ToneRun[] {
  const lane = lanes[channel]!
  const runs: ToneRun[] = []
  for (let first = 0; first < lane.length; first++) {
    if (lane[first]?.turn == null) continue
    let end = first + 1
    while (end < lane.length && goesOn(lane[first]!, lane[end - 1]!, lane[end] ?? null)) end++
    if (end - first >= SHORTEST_RUN_HOPS && hasNothingBeside(lanes, channel, first, end)) {
      const run = describe(stretch, channel, lane, first, end, hopFrames, distances)
      if (run !== null) runs.push(run)
    }
    first = end - 1
  }
  return runs
}

/** Whether every other channel carries a pure tone too, or next to nothing, where this one does. */
export function hasNothingBeside(lanes: readonly HopLane[], channel: number, first: number, end: number): boolean {
  const others = lanes.filter((_, other) => other !== channel)
  let pure = 0
  let disturbed = 0
  for (let hop = first; hop < end; hop++) {
    const own = lanes[channel]![hop]!
    if (own.turn === null) continue
    pure++
    const limit = own.power * LARGEST_POWER_BESIDE
    if (others.some((other) => other[hop] != null && other[hop]!.turn === null && other[hop]!.power > limit))
      disturbed++
  }
  return disturbed <= LARGEST_DISTURBED_SHARE * pure
}

function goesOn(first: HopSketch, before: HopSketch, next: HopSketch | null): boolean {
  if (next === null || next.turn === null) return false
  const step = next.power / before.power
  const drift = next.power / first.power
  return (
    Math.max(step, 1 / step) < LARGEST_POWER_STEP &&
    Math.max(drift, 1 / drift) < LARGEST_POWER_STEP * LARGEST_POWER_STEP &&
    Math.abs(next.turn - first.turn!) < LARGEST_TURN_STEP
  )
}

function describe(
  stretch: Stretch,
  channel: number,
  lane: HopLane,
  first: number,
  end: number,
  hopFrames: number,
  distances: ToneDistances,
): ToneRun | null {
  const plane = stretch.planes[channel]!
  const zero = stretch.leadFrames - SIDE_HOPS * hopFrames
  const middle = lane[first + ((end - first) >> 1)] as HopSketch
  const shape = { turn: middle.turn!, amplitude: Math.sqrt(2 * middle.power), distance: distances.short }
  const startInPlane = toneStart(plane, zero + first * hopFrames, hopFrames, shape)
  const endInPlane = toneEnd(plane, zero + end * hopFrames, hopFrames, shape)

  const offset = stretch.firstFrame - stretch.leadFrames
  const segmentEnd = stretch.firstFrame + stretch.frameCount
  // A tone is cut at the borders of the segment and joined again later.
  const startFrame = Math.max(startInPlane + offset, stretch.firstFrame)
  const endFrame = Math.min(endInPlane + offset, segmentEnd)
  if (endFrame <= startFrame) return null
  const lookFrom = Math.max(0, startInPlane)
  const lookTo = Math.min(plane.length, endInPlane, lookFrom + LONGEST_LOOK_SECONDS * stretch.sampleRateHz)
  const frequencyHz = toneFrequency(plane, lookFrom, lookTo, stretch.sampleRateHz)
  return frequencyHz < LOWEST_HZ ? null : { channel, startFrame, endFrame, frequencyHz, power: middle.power }
}

type ToneShape = { readonly turn: number; readonly amplitude: number; readonly distance: number }

/** What the sine's equation may leave, as a share of its amplitude, before it counts as broken. */
const LARGEST_BREAK = 0.08

/** First frame of the tone: just behind the last place before the pure hop at `pure` where the equation breaks. */
function toneStart(plane: Float32Array, pure: number, hopFrames: number, shape: ToneShape): number {
  const { turn, amplitude, distance } = shape
  for (let n = pure + distance; n >= Math.max(distance, pure - hopFrames * EDGE_HOPS); n--) {
    const rest = plane[n - distance]! + plane[n + distance]! - 2 * turn * plane[n]!
    if (Math.abs(rest) > LARGEST_BREAK * amplitude) return n - distance + 1
  }
  return Math.max(0, pure - hopFrames * EDGE_HOPS)
}

/** The frame behind the last one of the tone. */
function toneEnd(plane: Float32Array, pureEnd: number, hopFrames: number, shape: ToneShape): number {
  const { turn, amplitude, distance } = shape
  const last = Math.min(plane.length - distance, pureEnd + hopFrames * EDGE_HOPS)
  for (let n = pureEnd - distance; n < last; n++) {
    const rest = plane[n - distance]! + plane[n + distance]! - 2 * turn * plane[n]!
    if (Math.abs(rest) > LARGEST_BREAK * amplitude) return n + distance
  }
  return Math.min(plane.length, pureEnd + hopFrames * EDGE_HOPS)
}
