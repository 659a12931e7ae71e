import type { DrawnCurve, LoudnessCurve, LoudnessCurves, LoudnessHistory } from '../../domain/index.ts'

/** More columns than any page or screen draws side by side, and few enough to keep the page small. */
export const MOST_COLUMNS = 1200

/** A short spot is not drawn finer than this. */
const NARROWEST_SECONDS = 0.1

/** Puts a value that stands on the edge of a column into that column, whatever the last bit of a division says. */
const EDGE = 1e-6

/** Columns for a programme: whole multiples of `hopSeconds`, at most `MOST_COLUMNS` of them. */
export function columnSecondsFor(durationSeconds: number, hopSeconds: number): number {
  const hops = Math.ceil(durationSeconds / hopSeconds)
  return Math.max(1, Math.ceil(hops / MOST_COLUMNS)) * hopSeconds
}

/** Thins both loudness curves of a file for drawing, so that no extreme is lost. */
export function thinHistory(curves: LoudnessCurves, durationSeconds: number): LoudnessHistory {
  const columnSeconds = columnSecondsFor(durationSeconds, Math.max(NARROWEST_SECONDS, curves.shortTerm.hopSeconds))
  return {
    columnSeconds,
    shortTermLkfs: thinCurve(curves.shortTerm, durationSeconds, columnSeconds),
    momentaryLkfs: thinCurve(curves.momentary, durationSeconds, columnSeconds),
  }
}

function thinCurve(curve: LoudnessCurve, durationSeconds: number, columnSeconds: number): DrawnCurve {
  return thin(curve.lkfs, curve.hopSeconds, curve.windowSeconds / 2, durationSeconds, columnSeconds)
}

/**
 * Lowest and highest value in each column; value i stands at `firstSeconds` + i x `hopSeconds`. Values that are not
 * finite (silence) are left out; a column without a value is null.
 */
export function thin(
  values: Float64Array,
  hopSeconds: number,
  firstSeconds: number,
  durationSeconds: number,
  columnSeconds: number,
): DrawnCurve {
  const columnCount = Math.max(1, Math.ceil(durationSeconds / columnSeconds))
  const low = new Array<number | null>(columnCount).fill(null)
  const high = new Array<number | null>(columnCount).fill(null)
  for (let i = 0; i < values.length; i++) {
    const value = values[i] as number
    if (!Number.isFinite(value)) continue
    const column = Math.floor((firstSeconds + i * hopSeconds) / columnSeconds + EDGE)
    if (column >= columnCount) continue
    low[column] = Math.min(low[column] ?? value, value)
    high[column] = Math.max(high[column] ?? value, value)
  }
  return { low, high }
}
