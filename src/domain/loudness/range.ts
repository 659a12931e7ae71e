import { HOPS_PER_SECOND } from '../grid.ts'
import { ABSOLUTE_GATE_LKFS } from './gate.ts'
import { concatenated, loudnessOf, powerOf, SHORT_TERM_SECONDS, windowMeans } from './windows.ts'

/** The relative gate lies 20 LU below: a hundredth of the power.
 * @source EBU Tech 3342 clause 2.2
 */
export const RANGE_GATE_POWER = 1 / 100

/** @source EBU Tech 3342 clause 2.2: between the 10th and the 95th percentile */
export const LOW_SHARE = 0.1
export const HIGH_SHARE = 0.95

/**
 * Loudness range in LU from mean squares of 100 ms: short-term loudness ten times a second, both gates, nearest rank.
 * Null where no short-term window passes the gate. Not steady within the first minute of a programme.
 * @source EBU Tech 3342
 */
export function loudnessRange(powers100ms: Float64Array): number | null {
  return jointLoudnessRange([powers100ms])
}

/**
 * Loudness range of several programmes together: one pair of gates and one ranking over all their windows. No window
 * reaches from one programme into the next.
 */
export function jointLoudnessRange(programmes: readonly Float64Array[]): number | null {
  return rangeOf(programmes.map(shortTermWindows), 1)
}

/**
 * The widest range that a meter may read, whose windows stand 100 ms apart or 1 s; null where none passes the gate.
 * @source EBU Tech 3342 lets the windows overlap by no more than 2 s, and some meters do
 */
export function widestLoudnessRange(programmes: readonly Float64Array[]): number | null {
  const windows = programmes.map(shortTermWindows)
  const every100ms = rangeOf(windows, 1)
  const everySecond = rangeOf(windows, HOPS_PER_SECOND)
  return every100ms === null || everySecond === null ? null : Math.max(every100ms, everySecond)
}

function rangeOf(windows: readonly Float64Array[], everyHops: number): number | null {
  const edges = edgesOf(windows, everyHops)
  return edges === null ? null : edges.loudLkfs - edges.softLkfs
}

/** The two percentiles that the range lies between. */
export type RangeEdges = { readonly softLkfs: number; readonly loudLkfs: number }

/** The edges of the loudness range of several programmes together; null where no short-term window passes the gate. */
export function loudnessRangeEdges(programmes: readonly Float64Array[]): RangeEdges | null {
  return edgesOf(programmes.map(shortTermWindows), 1)
}

function shortTermWindows(powers100ms: Float64Array): Float64Array {
  return windowMeans(powers100ms, SHORT_TERM_SECONDS * HOPS_PER_SECOND)
}

function edgesOf(programmes: readonly Float64Array[], everyHops: number): RangeEdges | null {
  const gate = powerOf(ABSOLUTE_GATE_LKFS)
  const audible = concatenated(programmes.map((windows) => atLeast(windows, gate, everyHops)))
  let sum = 0
  for (const power of audible) sum += power
  const kept = atLeast(audible, (sum / audible.length) * RANGE_GATE_POWER)
  if (kept.length === 0) return null
  const rank = (share: number) => valueOfRank(kept, Math.round((kept.length - 1) * share))
  return { softLkfs: loudnessOf(rank(LOW_SHARE)), loudLkfs: loudnessOf(rank(HIGH_SHARE)) }
}

function atLeast(powers: Float64Array, gate: number, every = 1): Float64Array {
  const kept = new Float64Array(Math.ceil(powers.length / every))
  let count = 0
  for (let i = 0; i < powers.length; i += every) {
    const power = powers[i] as number
    if (power >= gate) kept[count++] = power
  }
  return kept.subarray(0, count)
}

/**
 * The value that would stand at this place in order of size; reorders the values.
 * @source selection by partition: Hoare, "Algorithm 65: Find", 1961, from memory
 */
function valueOfRank(values: Float64Array, rank: number): number {
  let left = 0
  let right = values.length - 1
  while (left < right) {
    const pivot = values[rank] as number
    let i = left
    let j = right
    while (i <= j) {
      while ((values[i] as number) < pivot) i++
      while ((values[j] as number) > pivot) j--
      if (i > j) break
      const swapped = values[i] as number
      values[i++] = values[j] as number
      values[j--] = swapped
    }
    if (j < rank) left = i
    if (rank < i) right = j
  }
  return values[rank] as number
}
