import { describe, expect, test } from 'vitest'
import { saltmarshReport } from '../../../test/testkit/delivery.ts'
import { fileNames, manifest, reportJson, titleIdOf } from './index.ts'
import { columnSecondsFor, MOST_COLUMNS, thin } from './thin.ts'

describe('thinning a curve for drawing', () => {
  test('keeps every extreme and leaves silence out', () => {
    const values = Float64Array.from([-20, -10, -30, Number.NEGATIVE_INFINITY, Number.NEGATIVE_INFINITY, -15])
    expect(thin(values, 1, 0, 6, 3)).toEqual({ low: [-30, -15], high: [-10, -15] })
    expect(thin(values.subarray(0, 5), 1, 0, 6, 3)).toEqual({ low: [-30, null], high: [-10, null] })
  })

  test('puts a value where the middle of its window stands', () => {
    expect(thin(Float64Array.from([-20]), 0.1, 1.5, 6, 1).high).toEqual([null, -20, null, null, null, null])
  })

  test.each([
    [1, 0.1],
    [120, 0.1],
    [121, 0.2],
    [7200, 6],
  ])('%s s are drawn in columns of %s s', (durationSeconds, columnSeconds) => {
    expect(columnSecondsFor(durationSeconds, 0.1)).toBeCloseTo(columnSeconds, 10)
    expect(Math.ceil(durationSeconds / columnSecondsFor(durationSeconds, 0.1))).toBeLessThanOrEqual(MOST_COLUMNS)
  })
})

describe('the verdict', () => {
  test('of a conforming delivery says where it stands and how much room is left', () => {
    expect(saltmarshReport().verdict).toBe(
      'Saltmarsh Lane, episode 3 conforms to ATSC A/85 long-form: it stands at \u221224.0 LKFS with a highest true peak ' +
        'of \u22124.1 dBTP, and no margin is thinner than 1.4 dB.',
    )
  })

  test('of a delivery that fails says the first reason and counts the others', () => {
    const report = saltmarshReport({ truePeakDbtp: -1.2, isLockClosed: false })
    expect(report.conforms).toBe(false)
    expect(report.verdict).toMatch(
      /does not conform to ATSC A\/85 long-form\. 5\.1: true peak .* 2 more findings fail it/,
    )
  })
})

test('alteration is peak minus loudness before and after, and the deepest of the ceiling', () => {
  const ceilingEvents = [
    { startSeconds: 10, endSeconds: 10.02, deepestDb: 0.4 },
    { startSeconds: 20, endSeconds: 20.02, deepestDb: 1.1 },
  ]
  const { alteration } = saltmarshReport({ ceilingEvents })
  expect(alteration.total.plrBeforeLu).toBeCloseTo(-0.2 + 20.1, 10)
  expect(alteration.total.plrAfterLu).toBeCloseTo(-4.1 + 0.3 + 24.01 - 0.59, 10)
  expect(alteration.ceiling).toMatchObject({ events: 2, deepestDb: 1.1 })
})

test('a constant gain keeps the shape of the short-term curve, a ride does not', () => {
  expect(saltmarshReport({ withRide: false }).alteration.total.shortTermCorrelation).toBeCloseTo(1, 9)
  expect(saltmarshReport({ withRide: true }).alteration.total.shortTermCorrelation).toBeLessThan(0.9999)
})

test('the same delivery gives the same bytes', () => {
  const text = () => JSON.stringify(reportJson(saltmarshReport()))
  expect(text()).toBe(text())
  const files = [{ path: 'a.wav', role: 'mix', bytes: 1, sha256: '0'.repeat(64) }]
  expect(manifest(saltmarshReport(), files)).toBe(manifest(saltmarshReport(), files))
})

describe('names', () => {
  test('carry the layout at their end', () => {
    expect(
      fileNames('saltmarsh-lane-103', [
        { role: 'mix-5.1', layout: '5.1' },
        { role: 'lo-ro', layout: '2.0' },
      ]),
    ).toEqual(['saltmarsh-lane-103_51.wav', 'saltmarsh-lane-103_20.wav'])
  })

  test.each([
    ['saltmarsh-103-master.wav', 'saltmarsh-103-master'],
    ['Harbour Day (final)/2.WAV', 'Harbour-Day-final-2'],
    ['../../etc/passwd', 'etc-passwd'],
    ['Spr\u00f6de K\u00fcste.wav', 'Spr\u00f6de-K\u00fcste'],
    ['\u6f6e.wav', '\u6f6e'],
    ['.wav', 'wav'],
    ['***.wav', 'title'],
  ])('of %s is %s', (fileName, id) => {
    expect(titleIdOf(fileName)).toBe(id)
  })
})
