import {
  bandField,
  bandOfField,
  type Clause,
  type DeliverableRole,
  type DeliverySpec,
  printFigure,
} from '../domain/index.ts'
import { type Markup, markup } from './markup.ts'

export const FILE_WORDS: Readonly<Record<DeliverableRole, string>> = {
  'mix-5.1': '5.1',
  'lo-ro': 'Stereo',
  'lt-rt': 'Lt/Rt',
  mix: 'Mix',
}

type LineWords = { readonly name: string; readonly unit: string }

const LINE_WORDS: Readonly<Record<string, LineWords>> = {
  programmeLoudnessLkfs: { name: 'Programme loudness', unit: 'LKFS' },
  dialogueLoudnessLkfs: { name: 'Dialogue loudness', unit: 'LKFS' },
  dialogueLevel: { name: 'Dialogue level', unit: 'LU' },
  maxTruePeakDbtp: { name: 'True peak', unit: 'dBTP' },
  maxLfeTruePeakDbtp: { name: 'True peak of the LFE', unit: 'dBTP' },
  'lfe.maxShortTermDbfs': { name: 'Short-term level of the LFE', unit: 'dBFS' },
  'lfe.overFrontsDb': { name: 'LFE above the low end of the fronts', unit: 'dB' },
  maxShortTermLkfs: { name: 'Highest short-term', unit: 'LKFS' },
  maxMomentaryLkfs: { name: 'Highest momentary', unit: 'LKFS' },
  loudnessRangeLu: { name: 'Loudness range', unit: 'LU' },
  'foldDown.loRo.programmeLoudnessLkfs': { name: 'Fold-down loudness', unit: 'LKFS' },
  'foldDown.loRo.dialogueLoudnessLkfs': { name: 'Fold-down dialogue loudness', unit: 'LKFS' },
  'foldDown.loRo.maxTruePeakDbtp': { name: 'Fold-down true peak', unit: 'dBTP' },
}

export function lineWords(field: string): LineWords {
  const band = bandOfField(field)
  return LINE_WORDS[field] ?? { name: band === null ? field : `Level of the ${band}`, unit: '' }
}

/** What the spec allows on a line, in words; null where it asks nothing. */
export function allowedWords(spec: DeliverySpec, field: string): string | null {
  const { targetLkfs, toleranceBelowLu, toleranceAboveLu } = spec.programmeLoudness
  if (field.endsWith('LoudnessLkfs')) {
    return `${printFigure(targetLkfs - toleranceBelowLu)} to ${printFigure(targetLkfs + toleranceAboveLu)}`
  }
  const limits = {
    maxTruePeakDbtp: spec.maxTruePeakDbtp,
    maxLfeTruePeakDbtp: spec.maxLfeTruePeakDbtp,
    'lfe.maxShortTermDbfs': spec.maxLfeShortTermDbfs,
    'lfe.overFrontsDb': spec.maxLfeOverFrontsDb,
    maxShortTermLkfs: spec.maxShortTermLkfs,
    maxMomentaryLkfs: spec.maxMomentaryLkfs,
    loudnessRangeLu: spec.maxLoudnessRangeLu,
    'foldDown.loRo.maxTruePeakDbtp': spec.maxTruePeakDbtp,
  }
  const limit = limits[field as keyof typeof limits] ?? spec.bandLevels?.find((band) => bandField(band) === field)
  return limit === undefined ? null : `at most ${printFigure(limit.value)}`
}

/** A margin with its word: `1.4 inside`, `0.8 dB outside`. */
export function marginWords(margin: number | null, unit: string | null = null): Markup {
  if (margin === null) return markup`<span class="quiet">none</span>`
  const outside = Number(margin.toFixed(1)) < 0
  return outside
    ? markup`<span class="over">${printFigure(-margin)} ${unit === null ? '' : `${unit} `}outside</span>`
    : markup`${printFigure(Math.max(0, margin))} <span class="quiet">${unit === null ? '' : `${unit} `}inside</span>`
}

/** A figure, or `not measured` in the quiet colour. */
export function figureWords(value: number | null, decimals = 1): Markup {
  return value === null ? markup`<span class="quiet">not measured</span>` : markup`${printFigure(value, decimals)}`
}

/** A measured figure with its unit, the unit in slate. */
export function withUnit(value: number | null, unit: string, decimals = 1): Markup {
  return value === null ? figureWords(null) : markup`${printFigure(value, decimals)} <span class="unit">${unit}</span>`
}

/** How sure we are of a number of a spec. */
export function basisWords(clause: Clause): string {
  const words = {
    read: 'read in the document',
    summary: 'from a summary of the document',
    memory: 'from memory, not checked against the document',
    'common practice': 'common practice',
    user: 'from your own spec file',
  }
  return words[clause.basis]
}

/** Bytes with thin groups of three digits. */
export function groupDigits(count: number): string {
  return String(count).replace(/\B(?=(\d{3})+$)/g, '\u00a0')
}
