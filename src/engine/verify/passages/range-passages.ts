import { isInside, loudnessRangeEdges, powerOf, printFigure, type SpecLine, type Trim } from '../../../domain/index.ts'
import type { Found } from './describe.ts'
import { figuresUnder, hopsUnder, type Programme, trimOn } from './programme.ts'
import { type Stretch, stretchesWhere } from './stretches.ts'

/** The stretches that are named when the range is missed. */
const MOST_STRETCHES = 3
/** More stretches than these are trimmed together, but not tried one by one. */
const MOST_TRIED = 24
const MOST_TRIM_DB = 12
const TRIMS_PER_DB = 10

/**
 * Where a loudness range that is missed comes from, once the trims are on the programme: the stretches that stand louder
 * than the soft end and the limit allow, with the least trim that, put on all of them, brings the range inside.
 * The soft end is left alone: what is soft is meant to be soft.
 */
export function rangePassages(programme: Programme, trims: readonly Trim[]): readonly Found[] {
  const line = programme.lines.find(({ field }) => field === 'loudnessRangeLu')
  const asItIs = programme.asItIs.loudnessRangeLu
  const measured = figuresUnder(programme, trims).loudnessRangeLu
  if (line === undefined || asItIs === null || measured === null) return []
  if (isInside(line, asItIs) || isInside(line, measured)) return []
  const hops = hopsUnder(programme, trims)
  const { softLkfs } = loudnessRangeEdges(hops) ?? { softLkfs: Number.POSITIVE_INFINITY }
  const bound = powerOf(softLkfs + line.high)
  const loud = stretchesWhere(programme, hops, (power) => power > bound)
  const rangeUnder = (trimDb: number, on: readonly Stretch[]) => rangeWith(programme, trims, trimDb, on) ?? measured
  const trimDb = leastTrim((tried) => rangeUnder(tried, loud) <= line.high)
  const tried = trimDb ?? -MOST_TRIM_DB
  return loud
    .toSorted((a, b) => lengthOf(b) - lengthOf(a))
    .slice(0, MOST_TRIED)
    .map((stretch) => ({ stretch, range: rangeUnder(tried, [stretch]) }))
    .toSorted((a, b) => a.range - b.range)
    .slice(0, MOST_STRETCHES)
    .map(({ stretch, range }) => {
      const together = { count: loud.length, range: rangeUnder(tried, loud) }
      return passageOf(line, measured, stretch, trimDb, { alone: range, together })
    })
}

/** The range with one trim on some stretches, where they lie in place of the other trims. */
function rangeWith(
  programme: Programme,
  trims: readonly Trim[],
  trimDb: number,
  on: readonly Stretch[],
): number | null {
  const others = trims.filter((trim) =>
    on.every(({ startFrame, endFrame }) => trim.endFrame <= startFrame || trim.startFrame >= endFrame),
  )
  return figuresUnder(programme, [...others, ...on.map((stretch) => trimOn(stretch, trimDb))]).loudnessRangeLu
}

/** The smallest trim, in tenths of a dB, that is enough; null if none is. */
function leastTrim(isEnough: (trimDb: number) => boolean): number | null {
  let [low, high] = [0, MOST_TRIM_DB * TRIMS_PER_DB]
  if (!isEnough(-MOST_TRIM_DB)) return null
  while (high - low > 1) {
    const middle = (low + high) >> 1
    if (isEnough(-middle / TRIMS_PER_DB)) high = middle
    else low = middle
  }
  return -high / TRIMS_PER_DB
}

function lengthOf({ startFrame, endFrame }: Stretch): number {
  return endFrame - startFrame
}

type RangeAfter = {
  readonly alone: number
  readonly together: { readonly count: number; readonly range: number }
}

function passageOf(
  line: SpecLine,
  measured: number,
  { loudnessLkfs, ...place }: Stretch,
  trimDb: number | null,
  { alone, together }: RangeAfter,
): Found {
  const excess = measured - line.high
  const [atRange, by] = [printFigure(measured), printFigure(excess)]
  const cure =
    trimDb === null
      ? 'trims at the loud end alone do not mend it: the softest scenes have to come up too'
      : together.count === 1
        ? `the trim brings the range to ${printFigure(alone)} LU`
        : `the trim on ${together.count === 2 ? 'both' : `all ${together.count}`} such stretches brings the range to ${printFigure(together.range)} LU, ` +
          `on this one alone to ${printFigure(alone)}`
  return {
    kind: 'too-loud',
    line: line.field,
    ...place,
    measured,
    allowed: line.high,
    unit: line.unit,
    excess,
    source: line.source,
    suggestedTrimDb: trimDb,
    message:
      `The loudness range is ${atRange} LU, ${by} LU above the limit of ${printFigure(line.high)}, and this stretch, ` +
      `at ${printFigure(loudnessLkfs)} LKFS, stands at its loud end; ${cure}.`,
  }
}
