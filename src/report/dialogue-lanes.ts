import type { AlteredLine, DialogueHistory } from '../domain/index.ts'
import { type Plot, scale } from './axes.ts'
import { type Across, type Lane, laneName, levelGrid, reductionLane } from './lane-marks.ts'
import { type Markup, markup, px } from './markup.ts'

const BACKGROUND_HEIGHT = 76
const OTHERS_HEIGHT = 26
/** Levels are drawn to whole multiples of this, over this span at least and at most. */
const GRID_LU = 6
const LEAST_SPAN_LU = 12
const MOST_SPAN_LU = 36
/** The shortest stroke of a line of dialogue. */
const LEAST_STROKE = 2

/** What became of dialogue: each line against its background, and what other channels cost it. */
export function dialogueLanes({ lines, columnSeconds, byOtherChannels }: DialogueHistory): readonly Lane[] {
  const heard = lines.flatMap(heardLine)
  return [
    ...(heard.length === 0 ? [] : [backgroundLane(heard)]),
    ...(byOtherChannels === null ? [] : othersLanes(byOtherChannels, columnSeconds)),
  ]
}

/** A line that has a background before and after. */
type HeardLine = {
  readonly startSeconds: number
  readonly endSeconds: number
  readonly before: number
  readonly after: number
}

function heardLine({ startSeconds, endSeconds, ...over }: AlteredLine): readonly HeardLine[] {
  const { overBackgroundBeforeLu: before, overBackgroundAfterLu: after } = over
  return before === null || after === null ? [] : [{ startSeconds, endSeconds, before, after }]
}

function backgroundLane(lines: readonly HeardLine[]): Lane {
  const levels = lines.flatMap(({ before, after }) => [before, after])
  const wanted = GRID_LU * Math.ceil(levels.reduce((most, level) => Math.max(most, level)) / GRID_LU)
  const least = GRID_LU * Math.floor(levels.reduce((least, level) => Math.min(least, level)) / GRID_LU)
  const lowest = Math.max(least, wanted - MOST_SPAN_LU)
  const highest = Math.max(wanted, lowest + LEAST_SPAN_LU)
  return {
    height: BACKGROUND_HEIGHT,
    says: 'Dialogue over background: a stroke for each line, in LU; thin before, strong after, tinted what lies between.',
    draw: (plot, x) => {
      const y = scale(lowest, highest, plot.bottom, plot.top)
      const across = ({ startSeconds, endSeconds }: HeardLine) => {
        const from = x(startSeconds)
        return { from, to: Math.max(from + LEAST_STROKE, x(endSeconds)) }
      }
      const strokes = (level: (line: HeardLine) => number) =>
        lines
          .map((line) => {
            const { from, to } = across(line)
            return `M${px(from)} ${px(y(level(line)))}H${px(to)}`
          })
          .join('')
      const between = lines
        .map((line) => {
          const { from, to } = across(line)
          return `M${px(from)} ${px(y(line.before))}H${px(to)}V${px(y(line.after))}H${px(from)}Z`
        })
        .join('')
      return markup`${levelGrid(lowest, highest, GRID_LU, plot, y, 'LU')}<path class="taken" d="${between}"/><path class="before" d="${strokes(({ before }) => before)}"/><path class="after" d="${strokes(({ after }) => after)}"/>${laneName(plot, 'dialogue over', 'background')}`
    },
  }
}

const OTHERS =
  'For others: how far dialogue was turned down because of other channels, by the ride and by the ceiling, deepest in each place.'

function othersLanes(
  { rideDb, ceilingDb }: NonNullable<DialogueHistory['byOtherChannels']>,
  columnSeconds: number,
): readonly Lane[] {
  const rows = [
    { reductionDb: rideDb, by: 'by the ride' },
    { reductionDb: ceilingDb, by: 'by the ceiling' },
  ].filter(({ reductionDb }) => reductionDb.some((db) => db > 0))
  if (rows.length === 0) return [{ height: OTHERS_HEIGHT, says: OTHERS, draw: nothingGiven }]
  return rows.map(({ reductionDb, by }) => ({
    height: OTHERS_HEIGHT,
    says: OTHERS,
    draw: (plot: Plot, x: Across) =>
      markup`${reductionLane(reductionDb, columnSeconds, plot, x)}${laneName(plot, 'for others,', by)}`,
  }))
}

function nothingGiven(plot: Plot): Markup {
  const { left, right, top } = plot
  return markup`<path class="grid" d="M${left} ${top}H${right}"/><text class="axis" x="${left + 8}" y="${top + 17}">dialogue gave nothing</text>${laneName(plot, 'for others')}`
}
