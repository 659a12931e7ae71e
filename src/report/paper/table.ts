import { type Brush, type Tag, tagUnder } from './brush.ts'
import { childElements, descendants, type Element, hasClass } from './elements.ts'
import { linesOf, PIXEL, styledBy, type TextStyle, widthsOf } from './lines.ts'
import { type Cell, RULES, rowOf, type Strip } from './strips.ts'

/** Where something is set: its left edge, its width, and the most height that a page has. In points. */
export type Column = { readonly x: number; readonly width: number; readonly most: number }

const PADDING = 1.9
const BETWEEN_COLUMNS = 10 * PIXEL
/** The share of a table's width that a column of strokes gets. */
const STROKES_SHARE = 0.34

/** A table in strips: its head, which is repeated on each page, and its rows, which no page cuts. */
export function tableStrips(
  table: Element,
  style: TextStyle,
  column: Column,
  parent: Tag,
  brush: Brush,
): readonly Strip[] {
  const tag = tagUnder(parent, 'Table', brush)
  const rowsOf = (part: string) => descendants(table, part).flatMap((each) => childElements(each))
  const headRows = rowsOf('thead')
  const bodyRows = rowsOf('tbody')
  const headStyle = styledBy({ name: 'thead', attributes: {}, children: [] }, style)
  const styled = [...headRows.map((row) => ({ row, style: headStyle })), ...bodyRows.map((row) => ({ row, style }))]
  const columns = columnsOf(styled, column, brush)
  const set = (row: Element, rowStyle: TextStyle, rowTag: Tag | null) => cellsOf(row, rowStyle, columns, rowTag, brush)
  const rule = (look: (typeof RULES)['row' | 'head']) => ({ ...look, x: column.x, length: column.width })
  const headLook = { padding: PADDING, rule: rule(RULES.head), isKept: true }
  const again = headRows.flatMap((row) => rowOf(set(row, headStyle, null), column.most, brush, headLook))
  return [
    ...headRows.flatMap((row) =>
      rowOf(set(row, headStyle, tagUnder(tag, 'TR', brush)), column.most, brush, { ...headLook, gap: PADDING }),
    ),
    ...bodyRows.flatMap((row) =>
      rowOf(set(row, style, tagUnder(tag, 'TR', brush)), column.most, brush, {
        padding: PADDING,
        rule: rule(RULES.row),
        head: again[0] ?? null,
      }),
    ),
  ]
}

function cellsOf(
  row: Element,
  style: TextStyle,
  columns: readonly { readonly x: number; readonly width: number }[],
  tag: Tag | null,
  brush: Brush,
): readonly Cell[] {
  return childElements(row).map((cell, index) => {
    const place = columns[index] as { x: number; width: number }
    const scope = cell.attributes.scope === 'row' ? 'Row' : 'Column'
    const options = cell.name === 'th' ? ({ scope } as const) : {}
    return {
      ...place,
      lines: linesOf(cell, styledBy(cell, style), place.width, brush.letters),
      side: hasClass(cell, 'number') ? 'right' : 'left',
      tag: tag === null ? null : tagUnder(tag, cell.name === 'th' ? 'TH' : 'TD', brush, options),
    }
  })
}

/**
 * Columns as wide as they need, what is left over shared in proportion; where not all have what they need, each has its
 * widest word and a share of the rest.
 */
function columnsOf(
  rows: readonly { readonly row: Element; readonly style: TextStyle }[],
  { x, width }: Column,
  { letters }: Brush,
): readonly { readonly x: number; readonly width: number }[] {
  const needs: { least: number; most: number }[] = []
  for (const { row, style } of rows) {
    childElements(row).forEach((cell, index, cells) => {
      const room = index === cells.length - 1 ? 0 : BETWEEN_COLUMNS
      const { least, most } = hasClass(cell, 'cell')
        ? { least: STROKES_SHARE * width, most: STROKES_SHARE * width }
        : widthsOf(cell, styledBy(cell, style), letters)
      const need = needs[index] ?? { least: 0, most: 0 }
      needs[index] = {
        least: Math.max(need.least, room + (hasClass(cell, 'number') ? most : least)),
        most: Math.max(need.most, room + most),
      }
    })
  }
  let left = x
  return sharedWidths(needs, width).map((each, index, all) => {
    const place = { x: left, width: each - (index === all.length - 1 ? 0 : BETWEEN_COLUMNS) }
    left += each
    return place
  })
}

function sharedWidths(
  needs: readonly { readonly least: number; readonly most: number }[],
  width: number,
): readonly number[] {
  const sum = (values: readonly number[]) => values.reduce((all, value) => all + value, 0)
  const least = sum(needs.map((need) => need.least))
  const most = sum(needs.map((need) => need.most))
  if (most <= width) return needs.map((need) => (need.most * width) / most)
  if (least >= width) return needs.map((need) => (need.least * width) / least)
  const share = (width - least) / (most - least)
  return needs.map((need) => need.least + share * (need.most - need.least))
}
