import { printFigure } from '../domain/index.ts'
import { levelTicks, type Plot, scale } from './axes.ts'
import { type Markup, markup, px } from './markup.ts'

/** The place of a time of the programme along a lane. */
export type Across = (seconds: number) => number

/** A strip of a drawing over time, all of them on one ruler. */
export type Lane = {
  readonly height: number
  /** What is to be seen in it, in a sentence. */
  readonly says: string
  readonly draw: (plot: Plot, x: Across) => Markup
}

/** Reductions are drawn to this depth at least, so that little looks like little. */
const LEAST_DEPTH_DB = 1
const LINE_HEIGHT = 15
/** A single column is seen too. */
const NARROWEST = 1

/** Level lines with their figures to the left. */
export function levelGrid(
  lowest: number,
  highest: number,
  step: number,
  { left, right, top }: Plot,
  y: (level: number) => number,
  unit: string,
): Markup {
  return markup`${levelTicks(lowest, highest, step).map(
    (level) =>
      markup`<path class="grid" d="M${left} ${px(y(level))}H${right}"/><text class="axis end" x="${left - 8}" y="${px(y(level) + 4)}">${printFigure(level, 0)}</text>`,
  )}<text class="axis end" x="${left - 8}" y="${top - 9}">${unit}</text>`
}

/** What a lane shows, to the right of it, in as many lines as are given. */
export function laneName({ right, top }: Plot, ...lines: readonly string[]): Markup {
  return markup`${lines.map((line, index) => markup`<text class="axis" x="${right + 8}" y="${top + 10 + index * LINE_HEIGHT}">${line}</text>`)}`
}

/** How far something was turned down, hanging from the top of its lane; the deepest place gives the lane its depth. */
export function reductionLane(
  reductionDb: readonly (number | null)[],
  columnSeconds: number,
  { left, right, top, bottom }: Plot,
  x: Across,
): Markup {
  const deepest = reductionDb.reduce<number>((most, db) => Math.max(most, db ?? 0), LEAST_DEPTH_DB)
  const depth = scale(0, deepest, 0, bottom - top)
  const path = reductionDb
    .map((db, column) => {
      if (db === null || db === 0) return ''
      const from = x(column * columnSeconds)
      const to = Math.max(from + NARROWEST, x((column + 1) * columnSeconds))
      return `M${px(from)} ${px(top)}H${px(to)}V${px(top + depth(db))}H${px(from)}Z`
    })
    .join('')
  return markup`<path class="grid" d="M${left} ${top}H${right}M${left} ${bottom}H${right}"/><path class="activity" d="${path}"/><text class="axis end" x="${left - 8}" y="${px(bottom + 4)}">${printFigure(-deepest)}</text>`
}
