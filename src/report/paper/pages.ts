import { type Brush, drawAs } from './brush.ts'
import { draw, viewOf } from './drawing.ts'
import { PAPER } from './drawing-style.ts'
import { childElements, type Element } from './elements.ts'
import { BODY, linesOf, styledBy } from './lines.ts'
import { drawLine, heightOf, type Strip } from './strips.ts'
import type { Column } from './table.ts'

/** A4 in points. */
const PAGE = { width: 595.28, height: 841.89 }
const SIDE = 40
const TOP = 58
const BOTTOM = PAGE.height - 52
const HEAD_Y = 26
const FOOT_Y = PAGE.height - 38
const FOOT_SIZE = 7.7

/** Where a page has room for what is set. */
export const TEXT_COLUMN: Column = { x: SIDE, width: PAGE.width - 2 * SIDE, most: BOTTOM - TOP }

/** Sets strips on as many pages as they take. */
export function setOnPages(strips: readonly Strip[], { doc }: Brush): void {
  doc.addPage()
  let y = TOP
  strips.forEach((strip, index) => {
    const isFirst = y === TOP
    const needed = heightOf(keptTogether(strips, index)) + strip.gap
    if (!isFirst && (strip.beginsPage || y + needed > BOTTOM)) {
      doc.addPage()
      y = TOP
      if (strip.head !== null) {
        strip.head.draw(y)
        y += strip.head.height
      }
    } else if (!isFirst) y += strip.gap
    strip.draw(y)
    y += strip.height
  })
}

/** A strip with those that have to stand on its page, as long as a page has room for them. */
function keptTogether(strips: readonly Strip[], first: number): readonly Strip[] {
  const end = strips.findIndex((strip, index) => index >= first && !strip.isKept)
  const together = strips.slice(first, end === -1 ? strips.length : end + 1)
  return heightOf(together) > TEXT_COLUMN.most ? together.slice(0, 1) : together
}

/** On every page: the head of the report's page, the title and the number of the page. */
export function setHeadsAndFeet(header: Element, name: string, brush: Brush): void {
  const { doc } = brush
  const { start, count } = doc.bufferedPageRange()
  for (let page = 0; page < count; page++) {
    doc.switchToPage(start + page)
    drawAs(null, brush, () => {
      setHead(header, brush)
      setFoot(name, `Page ${page + 1} of ${count}`, brush)
    })
  }
}

function setHead(header: Element, brush: Brush): void {
  const style = { ...BODY, colour: PAPER.slate }
  const right = SIDE + TEXT_COLUMN.width
  let x = SIDE
  const children = childElements(header)
  children.forEach((child, index) => {
    if (child.name === 'svg') {
      const { width, height } = viewOf(child)
      draw(child, brush, x, HEAD_Y - 1, (width * 14) / height)
      x += (width * 14) / height + 6
      return
    }
    const [line] = linesOf(child, styledBy(child, style), TEXT_COLUMN.width / 2, brush.letters)
    if (line === undefined) return
    drawLine(line, index === children.length - 1 ? right - line.width : x, HEAD_Y, brush)
    x += line.width
  })
  brush.doc.lineWidth(0.7).strokeColor(PAPER.slate, 1).undash()
  brush.doc
    .moveTo(SIDE, HEAD_Y + 19)
    .lineTo(right, HEAD_Y + 19)
    .stroke()
}

function setFoot(name: string, number: string, brush: Brush): void {
  const words = (text: string) => ({ name: 'span', attributes: {}, children: [text] })
  const style = { ...BODY, size: FOOT_SIZE, colour: PAPER.slate }
  const [left] = linesOf(words(name), style, 0.75 * TEXT_COLUMN.width, brush.letters)
  const [right] = linesOf(words(number), style, TEXT_COLUMN.width, brush.letters)
  if (left !== undefined) drawLine(left, SIDE, FOOT_Y, brush)
  if (right !== undefined) drawLine(right, SIDE + TEXT_COLUMN.width - right.width, FOOT_Y, brush)
}
