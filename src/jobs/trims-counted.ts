import { type Finding, type LoudnessFigures, printFigure } from '../domain/index.ts'

/** The note that a sheet's trims are in the figures, and what they were without; none where nothing is trimmed. */
export function trimsCounted(count: number, withoutTrims: LoudnessFigures | null): readonly Finding[] {
  if (withoutTrims === null) return []
  const { programmeLoudnessLkfs, maxTruePeakDbtp } = withoutTrims
  const trims = count === 1 ? 'The trim of the sheet is' : `The ${count} trims of the sheet are`
  const figures = [
    ...(programmeLoudnessLkfs === null ? [] : [`${printFigure(programmeLoudnessLkfs, 2)} LKFS`]),
    ...(maxTruePeakDbtp === null ? [] : [`${printFigure(maxTruePeakDbtp, 2)} dBTP`]),
  ]
  const without = figures.length === 0 ? '' : `; without ${count === 1 ? 'it' : 'them'} ${figures.join(' and ')}`
  return [
    {
      id: 'trims-counted',
      severity: 'note',
      line: null,
      measured: count,
      allowed: null,
      unit: null,
      at: null,
      source: null,
      message: `${trims} in these figures${without}.`,
    },
  ]
}
