import { printedValue, SEASON_FIGURES, type Season } from '../domain/index.ts'

/** A season as CSV (RFC 4180): a row a title with each figure, its deviation from the median, and what stands out; the medians last. */
export function seasonCsv({ titles, median }: Season): string {
  const head = ['title', ...SEASON_FIGURES.flatMap((figure) => [figure, `${figure} - median`]), 'outliers']
  const rows = titles.map((title) => [
    title.path,
    ...SEASON_FIGURES.flatMap((figure) => [figureCell(title[figure].value), figureCell(title[figure].deviation)]),
    SEASON_FIGURES.filter((figure) => title[figure].isOutlier).join(' '),
  ])
  const medians = ['median', ...SEASON_FIGURES.flatMap((figure) => [figureCell(median[figure]), '']), '']
  return [head, ...rows, medians].map((row) => `${row.map(quoted).join(',')}\r\n`).join('')
}

function figureCell(value: number | null): string {
  return value === null ? '' : (printedValue(value, 2) + 0).toFixed(2)
}

function quoted(text: string): string {
  return /[",\r\n]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text
}
