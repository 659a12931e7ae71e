/** Finished HTML or SVG. Only `markup` makes it, so whatever is not markup is escaped. */
export class Markup {
  readonly text: string

  constructor(text: string) {
    this.text = text
  }
}

export type Content = string | number | Markup | null | readonly Content[]

/** A template whose inserted texts are escaped; markup and lists of markup go in as they are, null leaves nothing. */
export function markup(parts: TemplateStringsArray, ...inserted: readonly Content[]): Markup {
  const text = parts.reduce((before, part, index) => before + insert(inserted[index - 1] as Content) + part)
  return new Markup(text)
}

function insert(content: Content): string {
  if (content === null) return ''
  if (content instanceof Markup) return content.text
  if (Array.isArray(content)) return content.map(insert).join('')
  return escapeText(String(content))
}

const ESCAPES: Readonly<Record<string, string>> = {
  '&': '&amp;',
  '<': '&lt;',
  '>': '&gt;',
  '"': '&quot;',
  "'": '&#39;',
}

/** Text that is safe between tags and inside quoted attributes; control characters, which XML forbids, are dropped. */
export function escapeText(text: string): string {
  return Array.from(text)
    .filter((character) => character >= ' ' || character === '\n' || character === '\t')
    .map((character) => ESCAPES[character] ?? character)
    .join('')
}

/** A coordinate with two decimals at most. */
export function px(value: number): number {
  return Number(value.toFixed(2))
}
