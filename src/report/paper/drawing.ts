import type { Brush } from './brush.ts'
import { colourOf, PAPER, type Style, styleOf } from './drawing-style.ts'
import { classesOf, type Element } from './elements.ts'
import type { Doc } from './letters.ts'

/** Letters of a drawing grow by this, as those of the page do in print. */
const LETTER_SCALE = 1.12
/** Distance of hatching strokes along the line of time, in units of the drawing: 6 across the strokes. */
const HATCH_STEP = 8.5

type Box = { readonly x: number; readonly y: number; readonly width: number; readonly height: number }

/** First abscissa and ordinate, width and height of what an SVG element shows. */
export function viewOf(svg: Element): Box {
  const [x = 0, y = 0, width = 0, height = 0] = (svg.attributes.viewBox ?? '').split(' ').map(Number)
  return { x, y, width, height }
}

/** Draws an SVG element of the page, as vectors, with its upper left corner at (x, y) and `width` points wide. */
export function draw(svg: Element, brush: Brush, x: number, y: number, width: number): void {
  const { doc } = brush
  const view = viewOf(svg)
  doc.save()
  doc
    .translate(x, y)
    .scale(width / view.width)
    .translate(-view.x, -view.y)
  doc.lineJoin('round')
  drawChildren(svg, [svg], brush)
  doc.restore()
}

function drawChildren(element: Element, ancestors: readonly Element[], brush: Brush): void {
  for (const child of element.children) {
    if (typeof child === 'string') continue
    const style = styleOf(child, ancestors)
    if (child.name === 'g') drawChildren(child, [...ancestors, child], brush)
    else if (child.name === 'text') drawText(child, ancestors, style, brush)
    else if (child.name !== 'defs') drawShape(child, inherited(style, ancestors), brush.doc)
  }
}

/** Strokes and fills come down from a group. */
function inherited(style: Style, ancestors: readonly Element[]): Style {
  const above = ancestors.map((ancestor, depth) => styleOf(ancestor, ancestors.slice(0, depth)))
  return Object.assign({}, ...above, style)
}

function drawShape(shape: Element, style: Style, doc: Doc): void {
  if (shape.name === 'path' && (shape.attributes.d ?? '') === '') return
  const outline = () => traced(shape, doc)
  const hatching = /^url[(]#too-(loud|soft)[)]$/.exec(style.fill ?? '')?.[1]
  if (hatching !== undefined) {
    doc.save()
    outline().clip()
    hatch(boxOf(shape.attributes.d ?? ''), hatching === 'loud' ? -1 : 1, doc)
    doc.restore()
  }
  const fill = colourOf(style.fill)
  if (fill !== null) {
    doc.fillColor(fill, Number(style['fill-opacity'] ?? 1))
    outline().fill()
  }
  const stroke = colourOf(style.stroke)
  if (stroke === null) return
  doc.lineWidth(Number.parseFloat(style['stroke-width'] ?? '1'))
  doc.strokeColor(stroke, Number(style['stroke-opacity'] ?? 1))
  const dashes = style['stroke-dasharray']?.split(' ').map(Number)
  if (dashes === undefined) doc.undash()
  // The types know one length only.
  else doc.dash(dashes as unknown as number, {})
  outline().stroke()
}

function traced(shape: Element, doc: Doc): Doc {
  const number = (name: string) => Number(shape.attributes[name])
  if (shape.name === 'circle') return doc.circle(number('cx'), number('cy'), number('r'))
  if (shape.name === 'rect') return doc.rect(number('x'), number('y'), number('width'), number('height'))
  return doc.path(shape.attributes.d ?? '')
}

/** The box around a path of absolute moves and lines. */
function boxOf(path: string): Box {
  const xs: number[] = []
  const ys: number[] = []
  for (const [, letter, first, second] of path.matchAll(/([MLHV])(-?[\d.]+)(?: (-?[\d.]+))?/g)) {
    if (letter !== 'V') xs.push(Number(first))
    if (letter !== 'H') ys.push(Number(letter === 'V' ? first : second))
  }
  const [x, y] = [xs, ys].map((all) => all.reduce((least, value) => Math.min(least, value))) as [number, number]
  const [right, floor] = [xs, ys].map((all) => all.reduce((most, value) => Math.max(most, value))) as [number, number]
  return { x, y, width: right - x, height: floor - y }
}

/** Strokes at 45 degrees across a box; `lean` 1: falling to the right, -1: rising. The strokes of neighbours meet. */
function hatch({ x, y, width, height }: Box, lean: 1 | -1, doc: Doc): void {
  doc.lineWidth(2).strokeColor(PAPER.rust, 1).undash()
  /** Where a stroke that passes (at, 0) stands at the top of the box. */
  const shift = lean * y
  const from = x - height - shift
  const to = x + width + height - shift
  for (let at = Math.floor(from / HATCH_STEP) * HATCH_STEP; at <= to; at += HATCH_STEP) {
    doc.moveTo(at + shift, y).lineTo(at + shift + lean * height, y + height)
  }
  doc.stroke()
}

type Piece = { readonly text: string; readonly style: Style }

function drawText(element: Element, ancestors: readonly Element[], style: Style, { doc, letters }: Brush): void {
  const pieces = piecesOf(element, ancestors, style)
  const sizeOf = (piece: Piece) => LETTER_SCALE * Number.parseFloat(piece.style['font-size'] ?? '12.5')
  const weightOf = (piece: Piece) => (piece.style['font-weight'] === '600' ? 600 : 400)
  const widths = pieces.map((piece) => letters.width(piece.text, weightOf(piece), sizeOf(piece)))
  const whole = widths.reduce((sum, width) => sum + width, 0)
  if (whole === 0) return
  const anchor = style['text-anchor']
  const shift = anchor === 'end' ? whole : anchor === 'middle' ? whole / 2 : 0
  let x = Number(element.attributes.x) - shift
  const y = Number(element.attributes.y)
  if (classesOf(element).includes('label')) clearGround(x, y, whole, sizeOf({ text: '', style }), doc)
  pieces.forEach((piece, index) => {
    doc.fillColor(colourOf(piece.style.fill) ?? PAPER.ink, 1)
    letters.write(piece.text, x, y, weightOf(piece), sizeOf(piece))
    x += widths[index] as number
  })
}

/** Labels stand on ground of their own, so that lines do not run through them. */
function clearGround(x: number, y: number, width: number, size: number, doc: Doc): void {
  doc.fillColor(PAPER.paper, 1)
  doc.rect(x - 2, y - 0.78 * size, width + 4, size).fill()
}

/** The texts of a text element and of those inside it, each with its style. */
function piecesOf(element: Element, ancestors: readonly Element[], style: Style): readonly Piece[] {
  return element.children.flatMap((child): readonly Piece[] => {
    if (typeof child === 'string') return [{ text: child, style }]
    return piecesOf(child, [...ancestors, element], { ...style, ...styleOf(child, [...ancestors, element]) })
  })
}
