import { fitTurn } from './tone-hops.ts'

/** Terms of the arcsine's series; below 1e-9 for arguments to 0.7. */
const ARCSINE_TERMS = 26
const LARGEST_ARGUMENT = 0.7
/** Each fit looks this many times farther than the one before; its angle is known to a fraction of a turn by then. */
const DISTANCE_STEP = 6
/** Longest distance of the last fit; a tape's flutter would blur a longer one. */
const LONGEST_DISTANCE_SECONDS = 0.1
const LARGEST_REST = 0.05

/**
 * Frequency of the pure sine in `[from, to)` of a plane, in Hz: zero crossings first, then the angle that the sine
 * turns through over ever longer distances. Error below 0.01 Hz for 40 ms at 60 dB over noise.
 */
export function toneFrequency(plane: Float32Array, from: number, to: number, sampleRateHz: number): number {
  let radians = Math.PI * crossingsPerFrame(plane, from, to)
  const longest = Math.min(LONGEST_DISTANCE_SECONDS * sampleRateHz, (to - from) / 3)
  for (let wanted = Math.PI / (2 * radians); wanted <= longest; wanted *= DISTANCE_STEP) {
    const quarters = 2 * Math.floor((radians * wanted) / Math.PI) + 1
    const distance = Math.round((quarters * Math.PI) / (2 * radians))
    const { turn, rest } = fitTurn(plane, from + distance, to - distance, distance)
    const sine = quarters % 4 === 1 ? -turn : turn
    if (rest > LARGEST_REST || Math.abs(sine) > LARGEST_ARGUMENT) break
    radians = ((quarters * Math.PI) / 2 + arcsine(sine)) / distance
  }
  return (radians * sampleRateHz) / (2 * Math.PI)
}

/** Zero crossings a frame between the first and the last crossing, each placed by a straight line. */
function crossingsPerFrame(plane: Float32Array, from: number, to: number): number {
  let count = 0
  let first = 0
  let last = 0
  for (let n = from + 1; n < to; n++) {
    const before = plane[n - 1]!
    const here = plane[n]!
    if (before < 0 === here < 0) continue
    last = n - 1 + before / (before - here)
    if (count === 0) first = last
    count++
  }
  return count < 2 ? 1 / (to - from) : (count - 1) / (last - first)
}

function arcsine(x: number): number {
  let term = x
  let sum = x
  for (let n = 1; n < ARCSINE_TERMS; n++) {
    term *= (x * x * (2 * n - 1)) / (2 * n)
    sum += term / (2 * n + 1)
  }
  return sum
}
