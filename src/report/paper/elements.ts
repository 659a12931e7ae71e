import type { Markup } from '../markup.ts'

/** An element of finished markup; texts stand between the elements as they were before they were escaped. */
export type Element = {
  readonly name: string
  readonly attributes: Readonly<Record<string, string>>
  readonly children: readonly (Element | string)[]
}

type OpenElement = Element & { readonly children: (Element | string)[] }

const TOKEN = /<(\/?)([a-z][a-z0-9]*)((?:\s+[a-zA-Z:-]+="[^"]*")*)\s*(\/?)>|([^<]+)/g
const ATTRIBUTE = /([a-zA-Z:-]+)="([^"]*)"/g
const CHARACTERS: Readonly<Record<string, string>> = {
  '&amp;': '&',
  '&lt;': '<',
  '&gt;': '>',
  '&quot;': '"',
  '&#39;': "'",
}

/** The tree of markup that this project made, which is always well-formed. */
export function elementsOf({ text }: Markup): Element {
  const root: OpenElement = { name: 'root', attributes: {}, children: [] }
  const open = [root]
  for (const [, closing, name, attributes, empty, words] of text.matchAll(TOKEN)) {
    const parent = open.at(-1) as OpenElement
    if (words !== undefined) parent.children.push(unescapeText(words))
    else if (closing) open.pop()
    else {
      const element: OpenElement = { name: name as string, attributes: attributesOf(attributes ?? ''), children: [] }
      parent.children.push(element)
      if (!empty) open.push(element)
    }
  }
  return root
}

function attributesOf(text: string): Record<string, string> {
  return Object.fromEntries(
    Array.from(text.matchAll(ATTRIBUTE), ([, name, value]) => [name as string, unescapeText(value as string)]),
  )
}

function unescapeText(text: string): string {
  return text.replaceAll(/&(?:amp|lt|gt|quot|#39);/g, (escaped) => CHARACTERS[escaped] as string)
}

export function hasClass(element: Element, name: string): boolean {
  return classesOf(element).includes(name)
}

export function classesOf({ attributes }: Element): readonly string[] {
  return attributes.class?.split(' ') ?? []
}

/** The child elements, without the texts between them. */
export function childElements({ children }: Element): readonly Element[] {
  return children.filter((child) => typeof child !== 'string')
}

/** The elements of these names below this one, in the order of the page. */
export function descendants(element: Element, ...names: readonly string[]): readonly Element[] {
  return childElements(element).flatMap((child) =>
    names.includes(child.name) ? [child] : descendants(child, ...names),
  )
}
