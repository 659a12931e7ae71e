import type { Stretch } from '../detector.ts'
import type { Repeat } from './evidence.ts'

/** Lengths of block that are looked for: buffers of 64 to 4096 frames, and what lies a little beyond. */
const SHORTEST_BLOCK = 48
const LONGEST_BLOCK = 8192
/** One position in so many is remembered; a repeat is found at its first remembered position. */
const SIGNATURE_SPACING = 16
const TABLE_BITS = 12
/** A block that moves by less than -60 dBFS to either side is equal by chance, */
const LEAST_SWING = 0.001
/** and one that moves by less than this share of its height is the top of a clipped wave, which repeats by nature. */
const LEAST_SWING_SHARE = 0.05
/** A wave that goes on in its own period repeats seamlessly, and for longer than this many periods. */
const MOST_BLOCKS = 6
/** A block of fewer different values than a sixth of its length is drawn in steps: a synthetic wave. */
const LEAST_VARIETY = 0.25
const MOST_KEPT = 32

/** Blocks of samples that follow on themselves exactly: a buffer that was played twice. */
export function findRepeats(stretch: Stretch, plane: Float32Array): Repeat[] {
  const to = stretch.leadFrames + stretch.frameCount
  const from = Math.max(0, stretch.leadFrames - LONGEST_BLOCK)
  const bits = new Int32Array(plane.buffer, plane.byteOffset, plane.length)
  const table = new Int32Array(1 << TABLE_BITS).fill(-1)
  const repeats: Repeat[] = []
  const toProgramme = stretch.firstFrame - stretch.leadFrames
  let searchedTo = 0
  for (let frame = from; frame < to; frame++) {
    const a = bits[frame] as number
    const b = bits[frame + 1] as number
    const c = bits[frame + 2] as number
    if (a === b || b === c) continue
    const slot = (Math.imul(a, 0x9e3779b1) ^ Math.imul(b, 0x85ebca6b) ^ Math.imul(c, 0xc2b2ae35)) >>> (32 - TABLE_BITS)
    const known = table[slot] as number
    if (frame % SIGNATURE_SPACING === 0) table[slot] = frame
    if (known < 0 || frame < searchedTo || frame - known > LONGEST_BLOCK || frame - known < SHORTEST_BLOCK) continue
    if (bits[known] !== a || bits[known + 1] !== b || bits[known + 2] !== c) continue
    const lag = frame - known
    const [start, end] = matchAround(bits, frame, lag)
    if (end - start < lag - 1) continue
    searchedTo = end
    if (start < stretch.leadFrames || start >= to || !isRepeat(plane, start, end, lag)) continue
    if (repeats.length < MOST_KEPT) {
      repeats.push({ startFrame: start + toProgramme, endFrame: end + toProgramme, blockFrames: lag })
    }
  }
  return repeats
}

/** The run of samples around `frame` that equal those `lag` before them. */
function matchAround(bits: Int32Array, frame: number, lag: number): readonly [number, number] {
  let start = frame
  while (start - lag > 0 && bits[start - 1] === bits[start - 1 - lag]) start -= 1
  let end = frame + 1
  while (end < bits.length && bits[end] === bits[end - lag]) end += 1
  return [start, end]
}

function isRepeat(plane: Float32Array, start: number, end: number, lag: number): boolean {
  if (end - start > MOST_BLOCKS * lag && !joinsHard(plane, start, lag)) return false
  let lowest = plane[start] as number
  let highest = lowest
  const values = new Set<number>()
  for (let frame = start; frame < Math.min(end, start + lag); frame++) {
    const sample = plane[frame] as number
    lowest = Math.min(lowest, sample)
    highest = Math.max(highest, sample)
    values.add(sample)
  }
  const swing = (highest - lowest) / 2
  const leastSwing = Math.max(LEAST_SWING, LEAST_SWING_SHARE * Math.max(highest, -lowest))
  return swing >= leastSwing && values.size >= LEAST_VARIETY * lag
}

/** Whether the wave bends more where the block follows on itself than anywhere within the block. */
function joinsHard(plane: Float32Array, start: number, lag: number): boolean {
  let largest = 0
  for (let frame = start - lag + 2; frame < start; frame++) largest = Math.max(largest, bend(plane, frame))
  return Math.max(bend(plane, start), bend(plane, start + 1)) > 1.5 * largest
}

function bend(plane: Float32Array, frame: number): number {
  const [a, b, c] = [plane[frame] as number, plane[frame - 1] as number, plane[frame - 2] as number]
  return Math.abs(a - 2 * b + c)
}
