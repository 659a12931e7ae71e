import {
  FIT_PARAMETERS,
  nearestName,
  type Parameter,
  type ParameterTable,
  type Refusal,
  type SettingsOf,
  UPMIX_PARAMETERS,
} from '../domain/index.ts'
import { refuse } from './refusals.ts'

/**
 * Reads `--set name=value` words against a parameter table, and gives what is named.
 * An unknown name or a value out of range is refused, never ignored.
 */
export function namedSettings<T extends ParameterTable>(table: T, words: readonly string[]): Partial<SettingsOf<T>> {
  const settings: Record<string, unknown> = {}
  for (const word of words) {
    const [name, value] = splitWord(word)
    const row = Object.hasOwn(table, name) ? table[name] : undefined
    if (row === undefined) throw unknownSetting(name, Object.keys(table))
    settings[name] = readValue(name, value, row)
  }
  return settings as Partial<SettingsOf<T>>
}

/** Sorts `--set` words into those of the upmix and those of the fit; what belongs to neither is refused with both lists. */
export function splitSettings(words: readonly string[]): {
  readonly upmix: readonly string[]
  readonly fit: readonly string[]
} {
  const isOf = (table: ParameterTable) => (word: string) => Object.hasOwn(table, splitWord(word)[0])
  const [upmix, fit] = [words.filter(isOf(UPMIX_PARAMETERS)), words.filter(isOf(FIT_PARAMETERS))]
  const stray = words.find((word) => !upmix.includes(word) && !fit.includes(word))
  if (stray === undefined) return { upmix, fit }
  throw unknownSetting(splitWord(stray)[0], Object.keys({ ...UPMIX_PARAMETERS, ...FIT_PARAMETERS }))
}

/** The rows of a table as help prints them. */
export function settingsHelp(table: ParameterTable): string {
  return Object.entries(table)
    .map(([name, row]) => `  ${name.padEnd(NAME_CELLS)}${rangeOf(row)}, default ${row.default}\n    ${row.sentence}\n`)
    .join('')
}

const NAME_CELLS = 2 + Math.max(...Object.keys({ ...UPMIX_PARAMETERS, ...FIT_PARAMETERS }).map(({ length }) => length))

/** The range of a parameter as help and refusals print it. */
function rangeOf(row: Parameter): string {
  if (row.kind === 'choice') return row.choices.join(' | ')
  return `${row.min} to ${row.max}${row.unit === null ? '' : ` ${row.unit}`}`
}

function splitWord(word: string): [name: string, value: string] {
  const at = word.indexOf('=')
  if (at > 0) return [word.slice(0, at).trim(), word.slice(at + 1).trim()]
  throw refuse('CLI_SETTING_FORM', `read --set ${word}`, `"${word}"`)
}

function readValue(name: string, text: string, row: Parameter): number | string {
  const number = Number(text)
  const isGood =
    row.kind === 'choice'
      ? row.choices.includes(text)
      : text !== '' && Number.isFinite(number) && number >= row.min && number <= row.max
  if (isGood) return row.kind === 'choice' ? text : number
  throw refuse('CLI_SETTING_VALUE', `set ${name}`, `"${text}"`, {
    wanted: rangeOf(row),
    remedy: `Give a value in that range (default ${row.default}).`,
  })
}

function unknownSetting(name: string, valid: readonly string[]): Refusal {
  const nearest = nearestName(name, valid)
  return refuse('CLI_SETTING_UNKNOWN', `set ${name}`, 'no setting of that name', {
    wanted: `one of ${valid.join(', ')}`,
    remedy: nearest === null ? undefined : `Did you mean "${nearest}"?`,
  })
}
