import type { Clock, Passage } from '../../domain/index.ts'
import { lineWords } from '../words.ts'

/** A programme and the passages that the mixer should go back to: what every export is made from. */
export type MarkedProgramme = {
  /** File name of the programme, without folders. */
  readonly fileName: string
  readonly channelCount: number
  readonly sampleRateHz: number
  readonly frameCount: number
  /** Null: times count from the first frame. */
  readonly clock: Clock | null
  readonly passages: readonly Passage[]
}

/** A programme whose timecode is known, as formats need it that know nothing else. */
export type ClockedProgramme = MarkedProgramme & { readonly clock: Clock }

/** What a marker is called, e.g. `Too loud: highest short-term 1.4 LU over`. */
export function passageName({ kind, line, measured, excess, unit }: Passage): string {
  const amount = `${Math.abs(excess).toFixed(1)} ${unit === 'LKFS' || unit === 'LU' ? 'LU' : 'dB'}`
  const name = lineWords(line).name.toLowerCase()
  switch (kind) {
    case 'too-loud':
      return `Too loud: ${name} ${amount} over`
    case 'too-soft':
      return `Too soft: ${name} ${amount} under`
    case 'level-step':
      return `Level step: everything ${amount} ${measured > 0 ? 'louder' : 'softer'} from in to out`
    case 'line-up-tone':
      return 'Line-up tone left in the programme'
    case 'thinnest-margin':
      return `Thinnest margin: ${name} ${amount} left`
  }
}

/** Passages in the order of time, as markers stand on a timeline. */
export function inTime(passages: readonly Passage[]): readonly Passage[] {
  return passages.toSorted((a, b) => a.startFrame - b.startFrame || a.endFrame - b.endFrame || a.rank - b.rank)
}

/** Colour words that the CMX 3600 markers and OpenTimelineIO share; none of them says right or wrong. */
export const MARKER_COLOURS: Readonly<Record<Passage['kind'], string>> = {
  'too-loud': 'MAGENTA',
  'too-soft': 'CYAN',
  'level-step': 'WHITE',
  'line-up-tone': 'WHITE',
  'thinnest-margin': 'YELLOW',
}

/** One line of text: what would break a line, and other control characters, becomes a space. */
export function oneLine(text: string): string {
  return text
    .replace(/[\p{Cc}\p{Zl}\p{Zp}]+/gu, ' ')
    .replace(/ {2,}/g, ' ')
    .trim()
}

/** One line for formats that carry ASCII only; what has no letter there becomes a question mark. */
export function asciiLine(text: string): string {
  return oneLine(text)
    .replace(/[\u2012-\u2015\u2212]/g, '-')
    .replace(/[\u2018\u2019]/g, "'")
    .replace(/[\u201c\u201d]/g, '"')
    .normalize('NFD')
    .replace(/\p{M}/gu, '')
    .replace(/[^ -~]/gu, '?')
}
