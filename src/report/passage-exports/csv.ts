import { labelAt, type Passage } from '../../domain/index.ts'
import type { MarkedProgramme } from './marked-programme.ts'

type Cell = string | number | null
type Column = readonly [name: string, cell: (passage: Passage, programme: MarkedProgramme) => Cell]

const seconds = (frame: number, { sampleRateHz }: MarkedProgramme) => (frame / sampleRateHz).toFixed(6)
const label = (frame: number, { clock }: MarkedProgramme) => (clock === null ? null : labelAt(clock, frame))
const rounded = (value: number | null | undefined, decimals: number) => value?.toFixed(decimals) ?? null

/** In reading order; the names are those of the JSON. */
const COLUMNS: readonly Column[] = [
  ['rank', ({ rank }) => rank],
  ['kind', ({ kind }) => kind],
  ['line', ({ line }) => line],
  ['startTimecode', ({ startFrame }, programme) => label(startFrame, programme)],
  ['endTimecode', ({ endFrame }, programme) => label(endFrame, programme)],
  ['peakTimecode', ({ peakFrame }, programme) => label(peakFrame, programme)],
  ['startSeconds', ({ startFrame }, programme) => seconds(startFrame, programme)],
  ['endSeconds', ({ endFrame }, programme) => seconds(endFrame, programme)],
  ['startFrame', ({ startFrame }) => startFrame],
  ['endFrame', ({ endFrame }) => endFrame],
  ['measured', ({ measured }) => rounded(measured, 2)],
  ['allowedLow', ({ allowed }) => (typeof allowed === 'number' ? null : allowed[0])],
  ['allowedHigh', ({ allowed }) => (typeof allowed === 'number' ? allowed : allowed[1])],
  ['unit', ({ unit }) => unit],
  ['excess', ({ excess }) => rounded(excess, 2)],
  ['carriedBy', ({ carriedBy }) => carriedBy.map(({ role, share }) => `${role} ${share.toFixed(3)}`).join(' ')],
  ['dialogueShare', ({ dialogueShare }) => rounded(dialogueShare, 3)],
  ['suggestedTrimDb', ({ suggestedTrimDb }) => rounded(suggestedTrimDb, 2)],
  ['programmeLoudnessBeforeLkfs', ({ effect }) => rounded(effect?.programmeLoudnessBeforeLkfs, 3)],
  ['programmeLoudnessAfterLkfs', ({ effect }) => rounded(effect?.programmeLoudnessAfterLkfs, 3)],
  ['changeLu', ({ effect }) => rounded(effect?.changeLu, 3)],
  ['marginalLuPerDb', ({ marginalLuPerDb }) => rounded(marginalLuPerDb, 4)],
  ['message', ({ message }) => message],
  ['source', ({ source }) => `${source.document} ${source.edition}, ${source.clause}`],
]

/**
 * Passages as a table, in the order of their rank. A value that is not known is an empty cell.
 * @source RFC 4180: CRLF, quotes around what holds a comma, a quote or a line break, quotes doubled
 */
export function passagesCsv(programme: MarkedProgramme): string {
  const header = COLUMNS.map(([name]) => name)
  const rows = programme.passages.map((passage) => COLUMNS.map(([, cell]) => quoted(cell(passage, programme))))
  return [header, ...rows].map((row) => `${row.join(',')}\r\n`).join('')
}

function quoted(cell: Cell): string {
  // A NUL or an escape would end or colour the text in some reader; line breaks and tabs are text.
  const text = String(cell ?? '').replace(/[^\P{Cc}\r\n\t]/gu, ' ')
  return /[",\r\n]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text
}
