import type { Brush } from './brush.ts'
import type { Element } from './elements.ts'
import { MISSING } from './letters.ts'

/** Scripts by what a reader calls them: Unicode property, name. */
const SCRIPT_NAMES: readonly (readonly [script: RegExp, name: string])[] = [
  [/\p{Script=Hebrew}/u, 'Hebrew'],
  [/\p{Script=Arabic}/u, 'Arabic'],
  [/\p{Script=Hiragana}|\p{Script=Katakana}/u, 'Japanese'],
  [/\p{Script=Han}/u, 'Chinese'],
  [/\p{Script=Hangul}/u, 'Korean'],
  [/\p{Script=Thai}/u, 'Thai'],
  [/\p{Script=Devanagari}/u, 'Devanagari'],
]

/**
 * The blocks of the page with a sentence under the verdict where letters cannot be drawn on paper: which, and where they
 * are to be seen. A name that cannot be read must not look like a name.
 */
export function tellingOfLackedLetters(blocks: readonly Element[], { letters }: Brush): readonly Element[] {
  const lacked = letters.lackedOf(blocks.map(wordsOf).join(''))
  if (lacked.length === 0) return blocks
  const sentence =
    `This paper has no letters for ${scriptsOf(lacked)}: ${MISSING} stands for each of them, ` +
    'in this order also where a script is written from right to left. ' +
    'The page report.html shows them as they are; copied or searched for in this document they are found.'
  const note: Element = { name: 'p', attributes: { class: 'note' }, children: [sentence] }
  const behind = 1 + blocks.findIndex(({ name }) => name === 'p')
  return [...blocks.slice(0, behind), note, ...blocks.slice(behind)]
}

/** What the paper shows of a block; what is folded away on the page is not on it. */
function wordsOf(element: Element): string {
  if (element.name === 'details' || element.name === 'output') return ''
  return element.children.map((child) => (typeof child === 'string' ? child : wordsOf(child))).join('')
}

/** Chinese signs are told as Japanese where kana stand beside them. */
function scriptsOf(lacked: readonly string[]): string {
  const found = SCRIPT_NAMES.filter(([script]) => lacked.some((letter) => script.test(letter))).map(([, name]) => name)
  const names = found.includes('Japanese') ? found.filter((name) => name !== 'Chinese') : found
  const named = names.map((name) => (name === 'Chinese' ? 'Chinese or Japanese' : name))
  const isOther = lacked.some((letter) => !SCRIPT_NAMES.some(([script]) => script.test(letter)))
  const all = isOther ? [...named, named.length === 0 ? 'some signs of this report' : 'other signs'] : named
  return all.length < 2 ? all.join('') : `${all.slice(0, -1).join(', ')} and ${all.at(-1)}`
}
