import type { DeliveryReport } from '../domain/index.ts'
import { loudnessScales } from './loudness-chart.ts'
import { pictureOfDelivery } from './loudness-picture.ts'

/** The curves as the reading aid of the page needs them: one decimal, null where there is nothing. */
export function readingData(report: DeliveryReport) {
  const { delivered, source } = report.history
  const { x, y, columnSeconds, columnCount, highestLkfs, lowestLkfs } = loudnessScales(pictureOfDelivery(report))
  const rounded = (values: readonly (number | null)[]) =>
    values.map((value) => (value === null ? null : Number(value.toFixed(1))))
  return {
    columnSeconds,
    columnCount,
    startSeconds: report.source.startOfDaySeconds ?? 0,
    plot: {
      left: x(0),
      right: x(report.source.measurements.durationSeconds),
      top: y(highestLkfs),
      bottom: y(lowestLkfs),
    },
    durationSeconds: report.source.measurements.durationSeconds,
    shortTermLkfs: rounded(delivered.shortTermLkfs.high),
    momentaryLkfs: rounded(delivered.momentaryLkfs.high),
    sourceLkfs: source === null ? null : rounded(source.shortTermLkfs.high),
  }
}
