import type { BandLevelLimit } from './spec.ts'

/** Values of one line in one signal in each 100 ms. */
export const STANDING_VALUES = 4

/**
 * How the bands of a spec's lines stand before any gain, in each begun 100 ms, in the mix without its LFE and, where there
 * are two signals, in the stereo. Hop by hop, line by line, signal by signal: the power behind everything that is done to
 * bands; and of a line that is to be solved b b, b c and c c, where b is the band behind all treatments before its own
 * and c the band of that, see `bandProducts`. 0 elsewhere.
 */
export type BandStandings = {
  readonly values: Float64Array
  /** In the order in which their bands are treated. */
  readonly lines: readonly BandLevelLimit[]
  readonly signalCount: number
}

/** One of the values over time: 0 the power, 1 b b, 2 b c, 3 c c. */
export function standingOver(
  { values, lines, signalCount }: BandStandings,
  line: number,
  signal: number,
  value: number,
): Float64Array {
  const perHop = lines.length * signalCount * STANDING_VALUES
  const at = (line * signalCount + signal) * STANDING_VALUES + value
  return Float64Array.from({ length: values.length / perHop }, (_, hop) => values[hop * perHop + at] as number)
}
