import { type FrameRange, framesPerHop } from '../../../domain/index.ts'
import type { Stretch } from '../detector.ts'
import type { Cap } from './evidence.ts'

/** Common practice: three samples in a row at one extreme value are called clipped. */
const SHORTEST_RUN = 3
/** Below -30 dBFS, and below -12 dB of the segment's own peak, nothing is looked for. */
const LOWEST_LEVEL = 0.03
const LOWEST_SHARE_OF_PEAK = 0.25
/** Samples within this many steps of the grid count as equal: what dither after an attenuation leaves. */
const TOLERANCE_STEPS = 2.5
/** A flat top must be this many times flatter than a wave that comes in as steeply could be. */
const LEAST_FLATNESS = 4
/** And its flanks must be this steep, as a share of its level a sample: a slow filter settles gently. */
const LEAST_SLOPE = 0.0007
/** A wave comes in with at least a third of its last step; a square wave comes from rest or from the other side. */
const LARGEST_STEP_RATIO = 3
/** Levels kept per segment and polarity, and places of each. */
const MOST_CAPS = 4
const MOST_PLACES = 8

type GrowingCap = { level: number; runs: number; naturalRuns: number; longestFrames: number; places: FrameRange[] }

/**
 * Runs of equal samples at the extreme of their 100 ms, entered or left in mid-slope: clipped, at full scale or
 * before a later attenuation. Tops of slow waves and of square waves are flat by nature and are told apart by how
 * they are entered.
 */
export function findFlatTops(stretch: Stretch, plane: Float32Array, peak: number, step: number): Cap[] {
  const hopFrames = framesPerHop(stretch.sampleRateHz)
  const lowest = Math.max(LOWEST_LEVEL, peak * LOWEST_SHARE_OF_PEAK)
  const caps: GrowingCap[] = []
  const end = stretch.leadFrames + stretch.frameCount
  for (let start = stretch.leadFrames; start < end; start += hopFrames) {
    const hopEnd = Math.min(end, start + hopFrames)
    let highest = 0
    let deepest = 0
    for (let frame = start; frame < hopEnd; frame++) {
      const sample = plane[frame] as number
      if (sample > highest) highest = sample
      else if (sample < deepest) deepest = sample
    }
    if (highest >= lowest) addRuns(caps, stretch, plane, [start, hopEnd], highest, step)
    if (-deepest >= lowest) addRuns(caps, stretch, plane, [start, hopEnd], deepest, step)
  }
  const most = caps.filter(({ runs }) => runs > 0).toSorted((a, b) => b.runs - a.runs)
  return [
    ...most.filter((cap) => cap.level > 0).slice(0, MOST_CAPS),
    ...most.filter((cap) => cap.level < 0).slice(0, MOST_CAPS),
  ]
}

function addRuns(
  caps: GrowingCap[],
  stretch: Stretch,
  plane: Float32Array,
  [start, end]: readonly [number, number],
  level: number,
  step: number,
): void {
  const tolerance = TOLERANCE_STEPS * step
  const sign = level < 0 ? -1 : 1
  const isAtLevel = (frame: number) => Math.abs((plane[frame] as number) - level) <= tolerance
  for (let frame = start; frame < end; frame++) {
    if (!isAtLevel(frame)) continue
    let first = frame
    let last = frame
    while (last + 1 < plane.length && isAtLevel(last + 1)) last += 1
    if (frame === start) while (first > 0 && isAtLevel(first - 1)) first -= 1
    frame = last
    // A run over the border of two hops belongs to the hop it begins in.
    if (first < start || last - first + 1 < SHORTEST_RUN) continue
    const cap = capAt(caps, level, 2 * tolerance)
    if (!isCut(plane, first, last, sign, tolerance)) {
      cap.naturalRuns += 1
      continue
    }
    const toProgramme = stretch.firstFrame - stretch.leadFrames
    addRun(cap, { startFrame: first + toProgramme, endFrame: last + 1 + toProgramme })
  }
}

/** Whether the run is flatter than its flanks allow, and one flank is that of a wave. */
function isCut(plane: Float32Array, first: number, last: number, sign: number, tolerance: number): boolean {
  if (first < 2 || last + 2 >= plane.length) return false
  const top = sign * (plane[first] as number)
  const before = top - sign * (plane[first - 1] as number)
  const after = top - sign * (plane[last + 1] as number)
  // What goes on to rise, over the border of two hops, is no top.
  if (before <= 0 || after <= 0) return false
  const runFrames = last - first + 1
  const slope = (before + after) / 2
  if (slope * (runFrames / 4) < LEAST_FLATNESS * tolerance || slope < LEAST_SLOPE * top) return false
  const beforeThat = sign * ((plane[first - 1] as number) - (plane[first - 2] as number))
  const afterThat = sign * ((plane[last + 1] as number) - (plane[last + 2] as number))
  const risesLikeAWave = beforeThat > 0 && before <= LARGEST_STEP_RATIO * beforeThat + tolerance
  const fallsLikeAWave = afterThat > 0 && after <= LARGEST_STEP_RATIO * afterThat + tolerance
  return risesLikeAWave || fallsLikeAWave
}

function capAt(caps: GrowingCap[], level: number, tolerance: number): GrowingCap {
  const known = caps.find((cap) => Math.abs(cap.level - level) <= tolerance)
  if (known !== undefined) return known
  const cap = { level, runs: 0, naturalRuns: 0, longestFrames: 0, places: [] }
  caps.push(cap)
  return cap
}

function addRun(cap: GrowingCap, place: FrameRange): void {
  cap.runs += 1
  cap.longestFrames = Math.max(cap.longestFrames, place.endFrame - place.startFrame)
  keepLongest(cap.places, place)
}

function keepLongest(places: FrameRange[], place: FrameRange): void {
  if (places.length < MOST_PLACES) {
    places.push(place)
    return
  }
  let shortest = 0
  places.forEach((kept, index) => {
    if (length(kept) < length(places[shortest] as FrameRange)) shortest = index
  })
  if (length(place) <= length(places[shortest] as FrameRange)) return
  places.splice(shortest, 1)
  places.push(place)
}

function length(range: FrameRange): number {
  return range.endFrame - range.startFrame
}
