import { type Brush, drawAs, type Tag, tagUnder } from './brush.ts'
import { draw, viewOf } from './drawing.ts'
import { childElements, type Element, hasClass } from './elements.ts'
import { BODY, BODY_SIZE, linesOf, PIXEL, styledBy, widthsOf } from './lines.ts'
import { type Cell, heightOf, rowOf, type Strip } from './strips.ts'
import { type Column, tableStrips } from './table.ts'

/** Room above a block, in points, by its name. */
const GAPS: Readonly<Record<string, number>> = { h1: 6, h2: 11, p: 4, dl: 5, ul: 4, figure: 4, figcaption: 4, li: 2 }
const GAP_BELOW_HEADING = 3
const GAP_OF_ITEMS = 2
const BETWEEN_ITEM_AND_WORDS = 12
const BETWEEN_PAIR = 22 * PIXEL
/** The left part of a pair, and the most that the names of a list of items take. */
const LEFT_OF_PAIR = 1.6 / 2.6
const MOST_FOR_NAMES = 0.3
const LIST_INDENT = 10
/** Lines of running text are no longer than this. */
const LONGEST_LINE = 46 * BODY_SIZE
const TAGS: Readonly<Record<string, string>> = { h1: 'H1', h2: 'H2', p: 'P', figcaption: 'Caption' }

/** The page's blocks as strips, top to bottom; each block below `parent` in the structure. */
export function stripsOf(elements: readonly Element[], column: Column, parent: Tag, brush: Brush): readonly Strip[] {
  return elements.flatMap((element) => blockStrips(element, column, parent, brush))
}

function blockStrips(element: Element, column: Column, parent: Tag, brush: Brush): readonly Strip[] {
  const { name } = element
  const inside = (tag: Tag) => stripsOf(childElements(element), column, tag, brush)
  if (name === 'section') {
    const strips = inside(tagUnder(parent, 'Sect', brush))
    return hasClass(element, 'second') ? strips.map((strip, at) => ({ ...strip, beginsPage: at === 0 })) : strips
  }
  if (name === 'h1' || name === 'h2' || name === 'p' || name === 'figcaption') {
    return textStrips(element, column, parent, brush)
  }
  if (name === 'table') return tableStrips(element, BODY, column, parent, brush)
  if (name === 'dl') return itemStrips(element, column, parent, brush)
  if (name === 'ul') return listStrips(element, column, parent, brush)
  if (name === 'figure') return inside(parent)
  if (name === 'svg') return [drawingStrip(element, column, parent, brush)]
  if (name === 'div') return hasClass(element, 'pair') ? pairStrips(element, column, parent, brush) : inside(parent)
  // What reads the chart at the pointer, and what is shown on a screen only.
  if (name === 'output' || name === 'details') return []
  throw new Error(`The report's page has an element that its paper does not know: ${name}`)
}

/** Headings stay with what follows them. */
function textStrips(element: Element, column: Column, parent: Tag, brush: Brush): readonly Strip[] {
  const { name } = element
  const isHeading = name === 'h1' || name === 'h2'
  const style = styledBy(element, BODY)
  const isRunning = name === 'p' && !hasClass(element, 'verdict')
  const width = isRunning ? Math.min(column.width, LONGEST_LINE) : column.width
  const tag = tagUnder(parent, TAGS[name] as string, brush)
  const cell = { x: column.x, width, lines: linesOf(element, style, width, brush.letters), side: 'left', tag } as const
  return rowOf([cell], column.most, brush, {
    gap: GAPS[name] ?? 0,
    padding: isHeading ? GAP_BELOW_HEADING / 2 : 0,
    isKept: isHeading,
  })
}

/** Names and what is said of each, side by side; of a doubled list two of them in a row. */
function itemStrips(list: Element, column: Column, parent: Tag, brush: Brush): readonly Strip[] {
  const { letters } = brush
  const tag = tagUnder(parent, 'L', brush)
  const children = childElements(list)
  const names = children.filter(({ name }) => name === 'dt')
  const perRow = hasClass(list, 'doubled') ? 2 : 1
  const rowWidth = column.width / perRow
  const widest = names.reduce((most, name) => Math.max(most, widthsOf(name, styledBy(name, BODY), letters).most), 0)
  const nameWidth = Math.min(widest, MOST_FOR_NAMES * perRow * rowWidth)
  const wordsShift = nameWidth + BETWEEN_ITEM_AND_WORDS
  const wordsWidth = rowWidth - wordsShift - (perRow - 1) * BETWEEN_ITEM_AND_WORDS
  const cellsOf = (name: Element, x: number): readonly Cell[] => {
    const item = tagUnder(tag, 'LI', brush)
    const words = children[children.indexOf(name) + 1] as Element
    const cell = (element: Element, x: number, width: number, type: string): Cell => ({
      x,
      width,
      lines: linesOf(element, styledBy(element, BODY), width, letters),
      side: 'left',
      tag: tagUnder(item, type, brush),
    })
    return [cell(name, x, nameWidth, 'Lbl'), cell(words, x + wordsShift, wordsWidth, 'LBody')]
  }
  return names.flatMap((_, index) => {
    if (index % perRow !== 0) return []
    const row = names.slice(index, index + perRow)
    const cells = row.flatMap((name, place) => cellsOf(name, column.x + place * rowWidth))
    return rowOf(cells, column.most, brush, { gap: index === 0 ? (GAPS.dl as number) : GAP_OF_ITEMS })
  })
}

function listStrips(list: Element, column: Column, parent: Tag, brush: Brush): readonly Strip[] {
  const tag = tagUnder(parent, 'L', brush)
  const x = column.x + LIST_INDENT
  const width = Math.min(column.width, LONGEST_LINE) - LIST_INDENT
  return childElements(list).flatMap((item) => {
    const lines = linesOf(item, styledBy(item, BODY), width, brush.letters)
    const cell = { x, width, lines, side: 'left', tag: tagUnder(tagUnder(tag, 'LI', brush), 'LBody', brush) } as const
    const [first, ...more] = rowOf([cell], column.most, brush, { gap: GAPS.li as number })
    if (first === undefined) return []
    const point = (y: number) =>
      drawAs(null, brush, () =>
        brush.doc
          .fillColor(BODY.colour, 1)
          .circle(column.x + 3, y + 6.6, 1.2)
          .fill(),
      )
    const pointed: Strip = {
      ...first,
      draw: (y) => {
        point(y)
        first.draw(y)
      },
    }
    return [pointed, ...more]
  })
}

/** A drawing as wide as the column, or as a page is high; it stays with its caption. */
function drawingStrip(svg: Element, column: Column, parent: Tag, brush: Brush): Strip {
  const view = viewOf(svg)
  const width = Math.min(column.width, (0.9 * column.most * view.width) / view.height)
  const tag = tagUnder(parent, 'Figure', brush, { alt: svg.attributes['aria-label'] ?? '' })
  return {
    height: (width * view.height) / view.width,
    gap: GAPS.figure as number,
    isKept: true,
    beginsPage: false,
    head: null,
    draw: (y) => drawAs(tag, brush, () => draw(svg, brush, column.x, y, width)),
  }
}

/** Two blocks beside each other; below each other where a page is too low for that. */
function pairStrips(pair: Element, column: Column, parent: Tag, brush: Brush): readonly Strip[] {
  const room = column.width - BETWEEN_PAIR
  const widths = [LEFT_OF_PAIR * room, (1 - LEFT_OF_PAIR) * room]
  const lefts = [column.x, column.x + (widths[0] as number) + BETWEEN_PAIR]
  const sides = childElements(pair).map((side, index) =>
    blockStrips(side, { ...column, x: lefts[index] as number, width: widths[index] as number }, parent, brush),
  )
  const height = Math.max(...sides.map(heightOf))
  if (height > column.most) return sides.flat()
  return [
    {
      height,
      gap: GAPS.h2 as number,
      isKept: false,
      beginsPage: false,
      head: null,
      draw: (y) => {
        for (const strips of sides) drawBelow(strips, y)
      },
    },
  ]
}

function drawBelow(strips: readonly Strip[], top: number): void {
  let y = top
  strips.forEach((strip, index) => {
    if (index > 0) y += strip.gap
    strip.draw(y)
    y += strip.height
  })
}
