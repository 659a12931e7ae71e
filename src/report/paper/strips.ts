import { type Brush, drawAs, type Tag } from './brush.ts'
import { draw } from './drawing.ts'
import { PAPER } from './drawing-style.ts'
import { FRAME_ROOM, type Line, type Piece } from './lines.ts'

/** Something as wide as its column that stands on one page. Heights in points. */
export type Strip = {
  readonly height: number
  /** Room above it, unless it begins a page. */
  readonly gap: number
  /** Never stands last on a page with the next on another. */
  readonly isKept: boolean
  readonly beginsPage: boolean
  /** What is repeated above it where it begins a page; null: nothing. */
  readonly head: Strip | null
  readonly draw: (y: number) => void
}

/** Lines that stand below each other in their column of a row. */
export type Cell = {
  readonly x: number
  readonly width: number
  readonly lines: readonly Line[]
  readonly side: 'left' | 'right'
  /** Null: ground of the page, such as a head that is repeated. */
  readonly tag: Tag | null
}

export type RowLook = {
  readonly gap?: number
  /** Room above and below the letters. */
  readonly padding?: number
  /** The rule below; null: none. */
  readonly rule?: {
    readonly colour: string
    readonly width: number
    readonly x: number
    readonly length: number
  } | null
  readonly isKept?: boolean
  readonly head?: Strip | null
}

/** The height that strips take on one page. */
export function heightOf(strips: readonly Strip[]): number {
  return strips.reduce((sum, strip, index) => sum + strip.height + (index === 0 ? 0 : strip.gap), 0)
}

/** Cells side by side on one base line: one strip, or as many as it takes where a page is too low for them. */
export function rowOf(cells: readonly Cell[], most: number, brush: Brush, look: RowLook = {}): readonly Strip[] {
  const { gap = 0, padding = 0, rule = null, isKept = false, head = null } = look
  const room = most - 2 * padding - (head?.height ?? 0)
  const parts = partsOf(cells, room)
  return parts.map((part, index) => {
    const baseline = Math.max(0, ...part.map(({ lines }) => lines[0]?.baseline ?? 0))
    const isLast = index === parts.length - 1
    const height = linesHeight(part, baseline) + 2 * padding
    return {
      height,
      gap: index === 0 ? gap : 0,
      isKept,
      beginsPage: false,
      head,
      draw: (y) => {
        for (const cell of part) drawCell(cell, y + padding, baseline, brush)
        if (rule !== null && isLast) drawRule(rule, y + height, brush)
      },
    }
  })
}

/** Feet of first lines are level, so a cell of small letters starts lower. */
function linesHeight(cells: readonly Cell[], baseline: number): number {
  return Math.max(
    0,
    ...cells.map(({ lines }) => {
      const first = lines[0]
      return first === undefined ? 0 : baseline - first.baseline + lines.reduce((sum, { height }) => sum + height, 0)
    }),
  )
}

/** A row in parts that are at most `most` high; one part, but for texts longer than a page. */
function partsOf(cells: readonly Cell[], most: number): readonly (readonly Cell[])[] {
  const parts: (readonly Cell[])[] = []
  let rest = cells
  while (rest.some(({ lines }) => lines.length > 0) || parts.length === 0) {
    const counts = rest.map(({ lines }) => countThatFits(lines, most))
    parts.push(rest.map((cell, index) => ({ ...cell, lines: cell.lines.slice(0, counts[index]) })))
    rest = rest.map((cell, index) => ({ ...cell, lines: cell.lines.slice(counts[index]) }))
  }
  return parts
}

/** Two lines of the room are left for the levelling of first lines. */
function countThatFits(lines: readonly Line[], most: number): number {
  let height = 0
  const fitting = lines.findIndex((line) => {
    height += line.height
    return height > most - 2 * line.height
  })
  return fitting === -1 ? lines.length : Math.max(1, fitting)
}

function drawCell({ x, width, lines, side, tag }: Cell, y: number, baseline: number, brush: Brush): void {
  const first = lines[0]
  if (first === undefined) return
  drawAs(tag, brush, () => {
    let top = y + baseline - first.baseline
    for (const line of lines) {
      drawLine(line, side === 'right' ? x + width - line.width : x, top, brush)
      top += line.height
    }
  })
}

export function drawLine({ pieces, height, baseline }: Line, x: number, y: number, brush: Brush): void {
  for (const { piece, at } of pieces) {
    if ('svg' in piece) draw(piece.svg, brush, x + at, y + height / 2 - piece.height / 2, drawnWidth(piece))
    else drawWords(piece, x + at, y + baseline, brush)
  }
}

/** Drawings in a line are as high as they say; what is left of their width is room. */
function drawnWidth(piece: Extract<Piece, { svg: unknown }>): number {
  const [, , width = 1, height = 1] = (piece.svg.attributes.viewBox ?? '').split(' ').map(Number)
  return (piece.height * width) / height
}

function drawWords({ text, style, width }: Extract<Piece, { text: string }>, x: number, y: number, brush: Brush): void {
  const { doc, letters } = brush
  const { frame, colour, size, weight } = style
  const from = frame === null ? x : x + FRAME_ROOM
  doc.fillColor(colour, 1)
  letters.write(text, from, y, weight, size)
  if (frame === null) return
  doc.strokeColor(colour, 1).undash()
  const around = (distance: number, line: number) => {
    const box = { x: x - distance, y: y - size - distance, width: width + 2 * FRAME_ROOM + 2 * distance }
    doc
      .lineWidth(line)
      .roundedRect(box.x, box.y, box.width, 1.32 * size + 2 * distance, 1.5 + distance)
      .stroke()
  }
  around(0, 1)
  if (frame === 'double') around(2, 1)
}

function drawRule(rule: NonNullable<RowLook['rule']>, y: number, brush: Brush): void {
  drawAs(null, brush, () => {
    brush.doc.lineWidth(rule.width).strokeColor(rule.colour, 1).undash()
    brush.doc
      .moveTo(rule.x, y)
      .lineTo(rule.x + rule.length, y)
      .stroke()
  })
}

/** The thin rule below a row of a table, and the stronger one below its head. */
export const RULES = {
  row: { colour: '#C6CACE', width: 0.5 },
  head: { colour: PAPER.slate, width: 0.7 },
} as const
