import { PALETTE } from '../palette.ts'
import { CHART_CSS } from '../style.ts'
import { classesOf, type Element } from './elements.ts'

/** Properties of CSS by their names. */
export type Style = Readonly<Record<string, string>>

/** One part of a selector, e.g. `path.outside`. */
type Compound = { readonly name: string | null; readonly classes: readonly string[] }
type Rule = { readonly selector: readonly Compound[]; readonly weight: number; readonly style: Style }

const RULES = rulesOf(CHART_CSS)

/** The rules of the drawings' style sheet, of which this understands names and classes that stand inside each other. */
function rulesOf(css: string): readonly Rule[] {
  return Array.from(css.matchAll(/([^{}]+)[{]([^{}]*)[}]/g)).flatMap(([, selectors, properties]) => {
    const style = Object.fromEntries(
      (properties as string).split(';').flatMap((property) => {
        const [name, value] = property.split(':')
        return name === undefined || value === undefined ? [] : [[name.trim(), value.trim()]]
      }),
    )
    return (selectors as string).split(',').map((text) => {
      const selector = text
        .trim()
        .split(/\s+/)
        .map((part): Compound => {
          const [name, ...classes] = part.split('.')
          return { name: name === '' ? null : (name as string), classes }
        })
      const classCount = selector.reduce((sum, { classes }) => sum + classes.length, 0)
      const nameCount = selector.filter(({ name }) => name !== null).length
      return { selector, weight: 100 * classCount + nameCount, style }
    })
  })
}

/** What a drawing's style sheet says of an element; `ancestors` from the drawing itself down to its parent. */
export function styleOf(element: Element, ancestors: readonly Element[]): Style {
  const matching = RULES.filter(({ selector }) => isMatch(selector, element, ancestors))
  return Object.assign({}, ...matching.toSorted((a, b) => a.weight - b.weight).map(({ style }) => style))
}

function isMatch(selector: readonly Compound[], element: Element, ancestors: readonly Element[]): boolean {
  const last = selector.at(-1) as Compound
  if (!isCompound(last, element)) return false
  const rest = selector.slice(0, -1)
  if (rest.length === 0) return true
  return ancestors.some((ancestor, depth) => isMatch(rest, ancestor, ancestors.slice(0, depth)))
}

function isCompound({ name, classes }: Compound, element: Element): boolean {
  const own = classesOf(element)
  return (name === null || name === element.name) && classes.every((each) => own.includes(each))
}

/** The colours on white paper. */
export const PAPER = { ...PALETTE.light, paper: '#FFFFFF' }

/** A colour of the palette by what a style sheet writes for it; null for none. */
export function colourOf(value: string | undefined): string | null {
  const name = /^var[(]--([a-z]+)[)]$/.exec(value ?? '')?.[1]
  return name === undefined ? null : PAPER[name as keyof typeof PAPER]
}
