import {
  type DrawnCurve,
  HOPS_PER_SECOND,
  LAYOUTS,
  type LoudnessCurve,
  type LoudnessCurves,
  type LoudnessHistory,
  loudnessOf,
  type Measured,
  type ProgrammeLanes,
  type SpeechLane,
} from '../../domain/index.ts'

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

/** The greatest value in each column; values stand on hops of 100 ms, 0 or more. */
export function greatestInColumns(values: Float64Array, columnSeconds: number): readonly number[] {
  const hops = Math.round(columnSeconds * HOPS_PER_SECOND)
  return Array.from({ length: Math.ceil(values.length / hops) }, (_, column) =>
    values.subarray(column * hops, (column + 1) * hops).reduce((most, value) => Math.max(most, value), 0),
  )
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

/** Thins what is drawn under the loudness of a programme: where there is dialogue, and how loud each channel is. */
export function thinLanes(measured: Measured, speech: SpeechLane | null): ProgrammeLanes {
  const { layout, channels100ms, frameCount, sampleRateHz } = measured
  const durationSeconds = frameCount / sampleRateHz
  const columnSeconds = columnSecondsFor(durationSeconds, 1 / HOPS_PER_SECOND)
  const hopsPerColumn = Math.round(columnSeconds * HOPS_PER_SECOND)
  const roles = LAYOUTS[layout]
  const hopCount = channels100ms.length / roles.length
  const columns = Array.from({ length: Math.ceil(hopCount / hopsPerColumn) }, (_, column) => column * hopsPerColumn)
  const mean = (values: ArrayLike<number>, firstHop: number, stride: number, offset: number): number => {
    const end = Math.min(firstHop + hopsPerColumn, hopCount)
    let sum = 0
    for (let hop = firstHop; hop < end; hop++) sum += values[hop * stride + offset] ?? 0
    return sum / (end - firstHop)
  }
  return {
    columnSeconds,
    dialogue: speech === null ? null : columns.map((hop) => mean(speech.isSpeech100ms, hop, 1, 0)),
    channels: roles.map((role, channel) => ({
      role,
      levelLkfs: columns.map((hop) => {
        const power = mean(channels100ms, hop, roles.length, channel)
        return power > 0 ? loudnessOf(power) : null
      }),
    })),
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
