import { viewOf } from './drawing.ts'
import { PAPER } from './drawing-style.ts'
import { childElements, classesOf, type Element } from './elements.ts'
import { ASCENT, DESCENT, type Letters, type Weight } from './letters.ts'

/** Sizes in points. */
export const BODY_SIZE = 9
const SIZES: Readonly<Record<string, number>> = { h1: 17, h2: 11, small: 7.7, code: 7.4, figcaption: 7.8 }
const VERDICT_SIZE = 11.5
/** Points to a pixel of the page, as in print. */
export const PIXEL = BODY_SIZE / 14
const LINE_HEIGHT = 1.4
const HEADING_LINE_HEIGHT = 1.2
/** Room between the frame of a word and the word, and from the frame to the next word. */
export const FRAME_ROOM = 5
const BEHIND_FRAME = 7
/** Widths are sums: what is longer than its column by less than this fits. */
const SLACK = 0.01

export type TextStyle = {
  readonly weight: Weight
  readonly size: number
  readonly lineHeight: number
  readonly colour: string
  /** A frame around the words, single or double; null for none. */
  readonly frame: 'single' | 'double' | null
}

export const BODY: TextStyle = {
  weight: 400,
  size: BODY_SIZE,
  lineHeight: LINE_HEIGHT,
  colour: PAPER.ink,
  frame: null,
}

/** What an element makes of the style it stands in; the print style of the page, in points. */
export function styledBy(element: Element, style: TextStyle): TextStyle {
  const classes = classesOf(element)
  const has = (...names: readonly string[]) => names.some((name) => name === element.name || classes.includes(name))
  const isVerdict = has('verdict')
  return {
    weight: has('h1', 'h2', 'b', 'over', 'state') ? 600 : style.weight,
    size: isVerdict ? VERDICT_SIZE : (SIZES[element.name] ?? style.size),
    lineHeight: has('h1', 'h2') ? HEADING_LINE_HEIGHT : style.lineHeight,
    colour: has('over', 'fails')
      ? PAPER.rust
      : has('holds')
        ? PAPER.kelp
        : has('unit', 'quiet', 'small', 'dt', 'thead', 'figcaption')
          ? PAPER.slate
          : style.colour,
    frame: has('fails') ? 'double' : has('holds') ? 'single' : style.frame,
  }
}

/** A stretch of text in one style, a drawing that stands in the text like a word, or the end of a line. */
type Segment =
  | { readonly text: string; readonly style: TextStyle }
  | { readonly svg: Element; readonly style: TextStyle }
  | 'break'

/** What stands in a line, without a space inside where the line may be broken. */
export type Piece =
  | { readonly text: string; readonly style: TextStyle; readonly width: number }
  | { readonly svg: Element; readonly style: TextStyle; readonly width: number; readonly height: number }

type Word = { readonly pieces: readonly Piece[]; readonly width: number; readonly spaceBefore: number }

/** Pieces with their distance from the beginning of the line; heights in points. */
export type Line = {
  readonly pieces: readonly { readonly piece: Piece; readonly at: number }[]
  readonly width: number
  readonly height: number
  /** From the top of the line down to the feet of its letters. */
  readonly baseline: number
}

function segmentsOf(element: Element, style: TextStyle): readonly Segment[] {
  return element.children.flatMap((child): readonly Segment[] => {
    if (typeof child === 'string') return [{ text: child, style }]
    if (child.name === 'br') return ['break']
    const inside = styledBy(child, style)
    if (child.name === 'svg') {
      const drawing: Segment = { svg: child, style: inside }
      return isBlock(child) ? ['break', drawing] : [drawing]
    }
    return segmentsOf(child, inside)
  })
}

/** A drawing that takes a line for itself. */
function isBlock(svg: Element): boolean {
  return classesOf(svg).includes('room')
}

const SPACES = /([ \n\t]+)/

/** The words of an element's text, in as many lists as it has forced lines. */
function wordsOf(element: Element, style: TextStyle, letters: Letters): readonly (readonly Word[])[] {
  const lines: Word[][] = [[]]
  let pieces: Piece[] = []
  let spaceBefore = 0
  const endWord = () => {
    if (pieces.length === 0) return
    const width = pieces.reduce((sum, piece) => sum + piece.width, 0)
    lines.at(-1)?.push({ pieces, width, spaceBefore })
    pieces = []
    spaceBefore = 0
  }
  for (const segment of segmentsOf(element, style)) {
    if (segment === 'break') {
      endWord()
      spaceBefore = 0
      if (lines.at(-1)?.length !== 0) lines.push([])
    } else if ('svg' in segment) pieces.push(drawingPiece(segment.svg, segment.style))
    else {
      const { weight, size } = segment.style
      for (const part of segment.text.split(SPACES)) {
        if (part === '') continue
        if (SPACES.test(part)) {
          endWord()
          spaceBefore = letters.width(' ', weight, size)
        } else pieces.push({ text: part, style: segment.style, width: widthOf(part, segment.style, letters) })
      }
      if (segment.style.frame !== null) {
        endWord()
        spaceBefore = 2 * FRAME_ROOM + BEHIND_FRAME
      }
    }
  }
  endWord()
  return lines.filter((line) => line.length > 0)
}

function widthOf(text: string, { weight, size }: TextStyle, letters: Letters): number {
  return letters.width(text, weight, size)
}

/** Drawings in text are as large as the page's style sheet makes them. */
function drawingPiece(svg: Element, style: TextStyle): Piece {
  const { width, height } = viewOf(svg)
  if (isBlock(svg)) return { svg, style, width: 0.75 * width * PIXEL, height: 0.75 * height * PIXEL }
  return { svg, style, width: (width + 6) * PIXEL, height: height * PIXEL }
}

/** Each child element as one word: the entries of a key are not broken. */
function entriesOf(element: Element, style: TextStyle, letters: Letters): readonly Word[] {
  const gap = 20 * PIXEL
  return childElements(element).map((child) => {
    const pieces = wordsOf(child, styledBy(child, style), letters)
      .flat()
      .flatMap(({ pieces, spaceBefore }): readonly Piece[] =>
        spaceBefore === 0 ? pieces : [{ text: ' ', style, width: spaceBefore }, ...pieces],
      )
    return { pieces, width: pieces.reduce((sum, piece) => sum + piece.width, 0), spaceBefore: gap }
  })
}

/** What an element's text needs of a column: the widest word, and everything in as few lines as it may have. */
export function widthsOf(element: Element, style: TextStyle, letters: Letters): { least: number; most: number } {
  const lines = wordsOf(element, style, letters)
  const widest = (widths: readonly number[]) => widths.reduce((most, width) => Math.max(most, width), 0)
  const most = widest(lines.map((words) => filledLine(words, style).width))
  return { least: widest(lines.flat().map(({ width }) => width)), most }
}

/** An element's text in lines of at most `width` points; a word that is longer is broken where the line ends. */
export function linesOf(element: Element, style: TextStyle, width: number, letters: Letters): readonly Line[] {
  const isKey = classesOf(element).includes('key')
  const paragraphs = isKey ? [entriesOf(element, style, letters)] : wordsOf(element, style, letters)
  return paragraphs.flatMap((words) => {
    const lines: Word[][] = []
    let room = 0
    for (const word of words.flatMap((each) =>
      each.width > width + SLACK ? brokenWord(each, width, letters) : [each],
    )) {
      const line = lines.at(-1)
      if (line !== undefined && word.spaceBefore + word.width <= room + SLACK) {
        line.push(word)
        room -= word.spaceBefore + word.width
      } else {
        lines.push([word])
        room = width - word.width
      }
    }
    return lines.map((line) => filledLine(line, style))
  })
}

/** A word in parts that fit; a drawing is never broken. */
function brokenWord({ pieces, spaceBefore }: Word, width: number, letters: Letters): readonly Word[] {
  const parts: { pieces: Piece[]; width: number; spaceBefore: number }[] = [{ pieces: [], width: 0, spaceBefore }]
  const put = (piece: Piece) => {
    const last = parts.at(-1)
    if (last !== undefined && (last.pieces.length === 0 || last.width + piece.width <= width)) {
      last.pieces.push(piece)
      last.width += piece.width
    } else parts.push({ pieces: [piece], width: piece.width, spaceBefore: 0 })
  }
  for (const piece of pieces) {
    if ('svg' in piece) put(piece)
    else for (const text of piece.text) put({ text, style: piece.style, width: widthOf(text, piece.style, letters) })
  }
  return parts
}

/** Sets words side by side; neighbours of one style become one piece, so that the text reads as text when it is copied. */
function filledLine(words: readonly Word[], style: TextStyle): Line {
  const placed: { piece: Piece; at: number }[] = []
  let at = 0
  words.forEach((word, index) => {
    const space = index === 0 ? 0 : word.spaceBefore
    at += space
    word.pieces.forEach((piece, part) => {
      const last = placed.at(-1)
      const joined = last === undefined ? null : joinedPiece(last.piece, piece, part === 0 ? space : 0)
      if (last !== undefined && joined !== null) last.piece = joined
      else placed.push({ piece, at })
      at += piece.width
    })
  })
  const styles = placed.length === 0 ? [style] : placed.map(({ piece }) => piece.style)
  const isDrawing = placed.every(({ piece }) => 'svg' in piece) && placed.length > 0
  const drawn = placed.reduce((most, { piece }) => Math.max(most, 'svg' in piece ? piece.height : 0), 0)
  const height = isDrawing ? drawn : Math.max(drawn, ...styles.map(({ size, lineHeight }) => size * lineHeight))
  const size = Math.max(...styles.map((each) => each.size))
  const baseline = isDrawing ? height : (height - (ASCENT + DESCENT) * size) / 2 + ASCENT * size
  return { pieces: placed, width: at, height, baseline }
}

/** Two pieces of text as one, where they look alike; null where they do not. */
function joinedPiece(before: Piece, after: Piece, space: number): Piece | null {
  if ('svg' in before || 'svg' in after || before.style !== after.style) return null
  const text = space === 0 ? before.text + after.text : `${before.text} ${after.text}`
  return { text, style: before.style, width: before.width + space + after.width }
}
