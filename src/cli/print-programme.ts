import {
  type LoudnessFigures,
  printFigure,
  printTime,
  SEASON_FIGURES,
  type Season,
  type SeasonCell,
  type SeasonFigure,
} from '../domain/index.ts'
import type { MeasuredStretch } from '../jobs/index.ts'

const NAME_CELLS = 28
const FIGURE_CELLS = 10

/** Segments or reels, a line each. */
export function printStretches(title: string, stretches: readonly MeasuredStretch[]): string {
  if (stretches.length === 0) return ''
  const head = `  ${title.padEnd(NAME_CELLS)}${['LKFS', 'range', 'max S', 'true peak'].map(cell).join('')}\n`
  return head + stretches.map(printStretch).join('')
}

function printStretch({ name, startSeconds, timecode, ...figures }: MeasuredStretch): string {
  const from = timecode ?? printTime(startSeconds, 1)
  return `    ${shortened(name === null ? from : `${name}, ${from}`).padEnd(NAME_CELLS - 2)}${printFigures(figures)}\n`
}

function printFigures(figures: LoudnessFigures): string {
  const { programmeLoudnessLkfs, loudnessRangeLu, maxShortTermLkfs, maxTruePeakDbtp } = figures
  return [programmeLoudnessLkfs, loudnessRangeLu, maxShortTermLkfs, maxTruePeakDbtp].map(figureCell).join('')
}

const HEADS: Readonly<Record<SeasonFigure, string>> = {
  programmeLoudnessLkfs: 'LKFS',
  dialogueLoudnessLkfs: 'dialogue',
  loudnessRangeLu: 'range',
  maxShortTermLkfs: 'max S',
  maxTruePeakDbtp: 'true peak',
}

/** The titles of a season side by side; what stands out carries its deviation from the median. */
export function printSeason({ titles, median, rule }: Season): string {
  const row = (name: string, cells: readonly string[]) => `  ${shortened(name).padEnd(NAME_CELLS)}${cells.join('')}\n`
  return [
    row(
      'season',
      SEASON_FIGURES.map((figure) => cell(HEADS[figure])),
    ),
    ...titles.map((title) => {
      const outliers = SEASON_FIGURES.filter((figure) => title[figure].isOutlier)
      const told = outliers.map((figure) => `${HEADS[figure]} ${signed(title[figure])}`).join(', ')
      const line = row(
        title.path,
        SEASON_FIGURES.map((figure) => figureCell(title[figure].value)),
      )
      return told === '' ? line : `${line.trimEnd()}   stands out: ${told}\n`
    }),
    row(
      'median',
      SEASON_FIGURES.map((figure) => figureCell(median[figure])),
    ),
    `  ${rule}\n`,
  ].join('')
}

function signed({ deviation }: SeasonCell): string {
  return deviation === null ? '' : `${deviation > 0 ? '+' : ''}${printFigure(deviation)}`
}

function figureCell(value: number | null): string {
  return cell(value === null ? '-' : printFigure(value))
}

function cell(text: string): string {
  return text.padStart(FIGURE_CELLS)
}

/** A long name keeps its end, which tells files of one folder apart. */
function shortened(name: string): string {
  const most = NAME_CELLS - 3
  return name.length <= most ? name : `...${name.slice(name.length - most + 3)}`
}
