import type PDFDocument from 'pdfkit'
import { sfntOf } from './sfnt.ts'

export type Doc = InstanceType<typeof PDFDocument>
export type Weight = 400 | 600

/** Bytes of a file of `@fontsource/ibm-plex-sans/files`. */
export type PaperFonts = (file: string) => Uint8Array

/** The scripts that the typeface comes in; the first is tried first, and takes what none of them has. */
const SCRIPTS = ['latin', 'latin-ext', 'greek', 'cyrillic', 'cyrillic-ext', 'vietnamese'] as const

/** What is drawn for a letter that the typeface does not have. */
export const MISSING = '\ufffd'

/** Ascent and descent of the typeface, in parts of its size. */
export const ASCENT = 1.025
export const DESCENT = 0.275

/** Letters of one file of the typeface; `written` is what they stand for, where that is not what is drawn. */
type Run = { readonly font: string; readonly drawn: string; readonly written: string }

/** Measures and writes text in the report's typeface, whichever of its files the letters lie in. Figures are tabular. */
export class Letters {
  readonly #doc: Doc
  readonly #fonts: PaperFonts
  readonly #opened = new Set<string>()
  readonly #runs = new Map<string, readonly Run[]>()

  constructor(doc: Doc, fonts: PaperFonts) {
    this.#doc = doc
    this.#fonts = fonts
  }

  /** Width in points. */
  width(text: string, weight: Weight, size: number): number {
    return this.#runsOf(text, weight).reduce((sum, { font, drawn }) => {
      this.#use(font, size)
      return sum + this.#doc.widthOfString(drawn)
    }, 0)
  }

  /** Writes on the baseline `y` in the colour that the document fills with. */
  write(text: string, x: number, y: number, weight: Weight, size: number): void {
    let at = x
    for (const { font, drawn, written } of this.#runsOf(text, weight)) {
      this.#use(font, size)
      if (written !== drawn) this.#doc.markContent('Span', { actual: written })
      this.#doc.text(drawn, at, y, { lineBreak: false, baseline: 'alphabetic' })
      if (written !== drawn) this.#doc.endMarkedContent()
      at += this.#doc.widthOfString(drawn)
    }
  }

  /** The letters of a text that the typeface does not have, each once. */
  lackedOf(text: string): readonly string[] {
    const letters = [...new Set(text.normalize('NFC'))].filter((letter) => !/\s/.test(letter))
    return letters.filter((letter) => this.#fontOf(letter, 400) === undefined)
  }

  #fontOf(letter: string, weight: Weight): string | undefined {
    return SCRIPTS.map((script) => nameOf(script, weight)).find((font) => this.#has(font, letter))
  }

  #runsOf(text: string, weight: Weight): readonly Run[] {
    const key = `${weight} ${text}`
    const known = this.#runs.get(key)
    if (known !== undefined) return known
    const runs: { font: string; drawn: string; written: string }[] = []
    for (const letter of text.normalize('NFC')) {
      const own = this.#fontOf(letter, weight)
      const font = own ?? nameOf(SCRIPTS[0], weight)
      const last = runs.at(-1)
      const drawn = own === undefined ? MISSING : letter
      const isLike = last?.font === font && (last.drawn === last.written) === (drawn === letter)
      if (last !== undefined && isLike) {
        last.drawn += drawn
        last.written += letter
      } else runs.push({ font, drawn, written: letter })
    }
    this.#runs.set(key, runs)
    return runs
  }

  #use(font: string, size: number): void {
    if (!this.#opened.has(font)) {
      // Registered by name, since all files of a weight call themselves the same inside.
      this.#doc.registerFont(font, sfntOf(this.#fonts(font)) as unknown as ArrayBuffer)
      this.#opened.add(font)
    }
    this.#doc.font(font, size)
  }

  #has(font: string, letter: string): boolean {
    this.#use(font, 1)
    // The library keeps the opened font to itself, and draws an empty box without a word where it lacks a letter.
    const { _font } = this.#doc as unknown as {
      readonly _font: { readonly font: { hasGlyphForCodePoint(codePoint: number): boolean } }
    }
    return _font.font.hasGlyphForCodePoint(letter.codePointAt(0) as number)
  }
}

function nameOf(script: (typeof SCRIPTS)[number], weight: Weight): string {
  return `ibm-plex-sans-${script}-${weight}-normal.woff`
}
