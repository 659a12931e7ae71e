import { describe, expect, test } from 'vitest'
import { seasonOf } from './season.ts'

function titles(loudness: readonly (number | null)[]) {
  return loudness.map((programmeLoudnessLkfs, index) => ({
    path: `${index}.wav`,
    programmeLoudnessLkfs,
    dialogueLoudnessLkfs: null,
    loudnessRangeLu: 10,
    maxShortTermLkfs: -15,
    maxTruePeakDbtp: -3,
  }))
}

const outliers = (loudness: readonly (number | null)[]) =>
  seasonOf(titles(loudness)).titles.map(({ programmeLoudnessLkfs }) => programmeLoudnessLkfs.isOutlier)

describe('a season', () => {
  // Eight readings with one outlier, 245.57, as the NIST/SEMATECH e-Handbook 1.3.5.17.1 prints them (from memory).
  test('the published outlier is found, and no other', () => {
    const readings = [199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57]
    expect(outliers(readings)).toEqual([false, false, false, false, false, false, false, true])
    const { median, titles: rows } = seasonOf(titles(readings))
    // Median of the two in the middle, by hand.
    expect(median.programmeLoudnessLkfs).toBeCloseTo(201.37, 9)
    expect(rows[7]?.programmeLoudnessLkfs.deviation).toBeCloseTo(44.2, 9)
  })

  test('what nobody hears is no outlier, however alike the others are', () => {
    expect(outliers([-24, -24, -24, -24.01, -23.2])).toEqual([false, false, false, false, false])
    expect(outliers([-24, -24, -24, -24, -23])).toEqual([false, false, false, false, true])
  })

  test('three titles are no season to stand out from', () => {
    expect(outliers([-24, -24, -10])).toEqual([false, false, false])
  })

  test('what was not measured has no deviation and no say', () => {
    const { median, titles: rows } = seasonOf(titles([-24, null, -22]))
    expect(median.programmeLoudnessLkfs).toBe(-23)
    expect(median.dialogueLoudnessLkfs).toBeNull()
    expect(rows[1]?.programmeLoudnessLkfs).toEqual({ value: null, deviation: null, isOutlier: false })
  })
})
