import { type DeliveryReport, type Finding, type Passage, type Place, printFigure, printTime } from '../domain/index.ts'

/** A finding with a place, under the number that the chart and the table share. */
export type NumberedPlace = { readonly number: number; readonly finding: Finding; readonly at: Place }

/** Findings with a place, numbered from 1 as they come in the programme. */
export function numberedPlaces(report: DeliveryReport): readonly NumberedPlace[] {
  return report.findings
    .flatMap((finding) => (finding.at === null ? [] : [{ finding, at: finding.at }]))
    .toSorted((a, b) => a.at.startSeconds - b.at.startSeconds)
    .map((placed, index) => ({ number: index + 1, ...placed }))
}

/** What is wrong at a place, in words, e.g. `too loud by 2.5 LU`; the finding's name where no limit is passed. */
export function excessInWords(finding: Finding): string {
  const { measured, allowed, unit } = finding
  const name = finding.id.replaceAll('-', ' ')
  if (measured === null || allowed === null) return name
  const low = typeof allowed === 'number' ? null : allowed[0]
  const high = typeof allowed === 'number' ? allowed : allowed[1]
  const isLow = low !== null && measured < low
  const beyond = isLow ? low - measured : measured - high
  if (beyond <= 0) return name
  if (unit === 'dBTP') return `peak over by ${printFigure(beyond)} dB`
  return `too ${isLow ? 'soft' : 'loud'} by ${printFigure(beyond)} LU`
}

/** What a passage is, in few words, e.g. `too loud by 2.5 LU`, or how much room it leaves. */
export function passageInWords({ kind, excess, unit }: Passage): string {
  const lu = unit === 'dBTP' ? 'dB' : 'LU'
  if (excess <= 0) return `${printFigure(-excess)} ${lu} of room`
  return `${kind.replaceAll('-', ' ')} by ${printFigure(excess)} ${lu}`
}

/** A place as the page prints it: timecode where there is one, else time of day or of the programme. */
export function placeInWords(at: Place, startOfDaySeconds: number | null): string {
  if (at.timecode !== null) return at.timecode
  const from = (startOfDaySeconds ?? 0) + at.startSeconds
  const length = at.endSeconds - at.startSeconds
  return length < 0.1 ? printTime(from, 1) : `${printTime(from, 1)}, ${printFigure(length)}\u00a0s`
}
