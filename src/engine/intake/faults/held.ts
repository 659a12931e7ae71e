import type { FrameRange } from '../../../domain/index.ts'
import type { Stretch } from '../detector.ts'
import type { Occurrences } from './evidence.ts'

/** At 48 kHz; no wave above the floor rests this long and then jumps. */
const SHORTEST_SECONDS = 0.0003
const LOWEST_LEVEL = 0.001
const BESIDE_SECONDS = 0.005
/** A flat top stands at the highest level around it; a held run where it happened. A jump tells in doubt. */
const TOP_SHARE = 0.9
const LEAST_BREAK = 2
/** A wave that turns slowly leaves its turn by less than this share of its largest step. */
const LEAST_STEP_OUT = 0.3
const MOST_EQUAL_SHARE = 0.2
const MOST_PLACES = 16

/** Runs in which a converter repeated its last sample and then jumped to where the sound had gone. */
export function findHeld(stretch: Stretch, plane: Float32Array): Occurrences {
  const to = stretch.leadFrames + stretch.frameCount
  const shortest = Math.round(SHORTEST_SECONDS * stretch.sampleRateHz)
  const beside = Math.round(BESIDE_SECONDS * stretch.sampleRateHz)
  const toProgramme = stretch.firstFrame - stretch.leadFrames
  const places: FrameRange[] = []
  let count = 0
  for (let frame = Math.max(1, stretch.leadFrames); frame < to; frame++) {
    if (plane[frame] !== plane[frame - 1]) continue
    const start = frame
    const value = plane[frame] as number
    while (frame < plane.length && plane[frame] === value) frame += 1
    if (frame - start + 1 < shortest || Math.abs(value) < LOWEST_LEVEL || frame >= plane.length) continue
    if (start <= beside || frame + beside > plane.length) continue
    if (!isHeld(plane, start - 1, frame, beside)) continue
    count += 1
    if (places.length < MOST_PLACES) places.push({ startFrame: start + toProgramme, endFrame: frame + toProgramme })
  }
  return { count, places }
}

/** Whether the equal samples [start, end) lie in a lively wave and are neither its clipped top nor a slow turn of it. */
function isHeld(plane: Float32Array, start: number, end: number, beside: number): boolean {
  const before = texture(plane, start - beside, start)
  const after = texture(plane, end + 1, end + beside)
  if (before.equalShare > MOST_EQUAL_SHARE || after.equalShare > MOST_EQUAL_SHARE) return false
  const value = plane[start] as number
  const intoIt = value - (plane[start - 1] as number)
  const outOfIt = (plane[end] as number) - value
  const largestStep = Math.max(before.largestStep, after.largestStep)
  if (Math.abs(outOfIt) > LEAST_BREAK * largestStep) return true
  const isSlowTurn = intoIt * outOfIt < 0 && Math.abs(outOfIt) < LEAST_STEP_OUT * largestStep
  return !isSlowTurn && Math.abs(value) < TOP_SHARE * Math.max(before.peak, after.peak)
}

type Texture = { readonly equalShare: number; readonly largestStep: number; readonly peak: number }

function texture(plane: Float32Array, start: number, end: number): Texture {
  let equal = 0
  let peak = 0
  let largestStep = 0
  for (let frame = start + 1; frame < end; frame++) {
    const step = Math.abs((plane[frame] as number) - (plane[frame - 1] as number))
    if (step === 0) equal += 1
    if (step > largestStep) largestStep = step
    peak = Math.max(peak, Math.abs(plane[frame] as number))
  }
  return { equalShare: equal / (end - start), largestStep, peak }
}

/** Frames of the segment, in stretches of 100 ms, in which every sample stands twice: half the rate, not interpolated. */
export function countDoubled(stretch: Stretch, plane: Float32Array, hopFrames: number): number {
  let doubled = 0
  const to = stretch.leadFrames + stretch.frameCount
  for (let start = stretch.leadFrames; start + hopFrames <= to; start += hopFrames) {
    const atEven = equalPairs(plane, start, start + hopFrames)
    const atOdd = equalPairs(plane, start + 1, start + hopFrames)
    if (Math.max(atEven, atOdd) > MOST_PAIRED_SHARE && Math.min(atEven, atOdd) < LEAST_PAIRED_SHARE)
      doubled += hopFrames
  }
  return doubled
}

const MOST_PAIRED_SHARE = 0.99
const LEAST_PAIRED_SHARE = 0.5

function equalPairs(plane: Float32Array, start: number, end: number): number {
  let equal = 0
  let pairs = 0
  for (let frame = start; frame + 1 < end; frame += 2) {
    pairs += 1
    if (plane[frame] === plane[frame + 1]) equal += 1
    else if (pairs > 64 && equal < pairs / 8) return 0
  }
  return equal / pairs
}
