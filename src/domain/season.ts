import type { Measurements } from './measurements.ts'

/** What is compared between the titles of a season. */
export const SEASON_FIGURES = [
  'programmeLoudnessLkfs',
  'dialogueLoudnessLkfs',
  'loudnessRangeLu',
  'maxShortTermLkfs',
  'maxTruePeakDbtp',
] as const

export type SeasonFigure = (typeof SEASON_FIGURES)[number]

export type SeasonCell = {
  readonly value: number | null
  /** Value minus the season's median; null where either is missing. */
  readonly deviation: number | null
  readonly isOutlier: boolean
}

export type Season = {
  /** When a title is an outlier, in one sentence. */
  readonly rule: string
  readonly median: Readonly<Record<SeasonFigure, number | null>>
  readonly titles: readonly (Readonly<Record<SeasonFigure, SeasonCell>> & { readonly path: string })[]
}

/**
 * A title stands out where its modified z-score passes this. @source Iglewicz & Hoaglin 1993, How to detect and handle
 * outliers, as NIST/SEMATECH e-Handbook 1.3.5.17 gives it
 */
const HIGHEST_SCORE = 3.5
/** The median deviation of a normal distribution in units of its standard deviation. @source the same */
const SCORE_OF_MEDIAN_DEVIATION = 0.6745
/** What nobody hears between two episodes is no outlier, however alike the others are. Our own choice. */
const LEAST_DEVIATION: Readonly<Record<SeasonFigure, number>> = {
  programmeLoudnessLkfs: 1,
  dialogueLoudnessLkfs: 1,
  loudnessRangeLu: 3,
  maxShortTermLkfs: 3,
  maxTruePeakDbtp: 3,
}
/** Fewer titles have no season to stand out from. */
const FEWEST_TITLES = 4

/** Puts the titles of a season side by side, with the median of each figure and those that stand out from it. */
export function seasonOf(titles: readonly (Pick<Measurements, SeasonFigure> & { readonly path: string })[]): Season {
  const columns = SEASON_FIGURES.map((figure) => [figure, columnOf(titles, figure)] as const)
  return {
    rule:
      `A title stands out where its modified z-score, ${SCORE_OF_MEDIAN_DEVIATION} x deviation from the median / ` +
      `median of all deviations, passes ${HIGHEST_SCORE} and the deviation is at least 1 LU of loudness, or 3 LU or dB ` +
      `of range, short-term maximum and true peak; among ${FEWEST_TITLES} titles or more.`,
    median: Object.fromEntries(columns.map(([figure, { median }]) => [figure, median])) as Season['median'],
    titles: titles.map(({ path }, index) => {
      const cells = columns.map(([figure, { cells }]) => [figure, cells[index]])
      return { path, ...(Object.fromEntries(cells) as Record<SeasonFigure, SeasonCell>) }
    }),
  }
}

function columnOf(
  titles: readonly Pick<Measurements, SeasonFigure>[],
  figure: SeasonFigure,
): { readonly median: number | null; readonly cells: readonly SeasonCell[] } {
  const values = titles.map((title) => title[figure])
  const measured = values.filter((value) => value !== null)
  const median = medianOf(measured)
  const spread = median === null ? null : medianOf(measured.map((value) => Math.abs(value - median)))
  return {
    median,
    cells: values.map((value) => {
      if (value === null || median === null || spread === null) return { value, deviation: null, isOutlier: false }
      const deviation = value - median
      const isFar = Math.abs(deviation) >= LEAST_DEVIATION[figure] && measured.length >= FEWEST_TITLES
      const isOutlier = isFar && SCORE_OF_MEDIAN_DEVIATION * Math.abs(deviation) > HIGHEST_SCORE * spread
      return { value, deviation, isOutlier }
    }),
  }
}

function medianOf(values: readonly number[]): number | null {
  const ordered = values.toSorted((a, b) => a - b)
  const upper = ordered[Math.floor(ordered.length / 2)]
  const lower = ordered[Math.ceil(ordered.length / 2) - 1]
  return upper === undefined || lower === undefined ? null : (upper + lower) / 2
}
