import { expect, test } from 'vitest'
import { foldDownCoefficients, LAYOUTS, type LayoutName, loudnessWeight } from './layout.ts'

test('loudness weights are those of BS.1770-5: 1.41 for the side pair, 1 for the rear pair of 7.1, none for the LFE', () => {
  // ITU-R BS.1770-5 Annex 1 Table 3; Annex 3 Table 4 (1.41 only between 60 and 120 degrees).
  expect(LAYOUTS['5.1'].map(loudnessWeight)).toEqual([1, 1, 1, 0, 1.41, 1.41])
  expect(LAYOUTS['7.1'].map(loudnessWeight)).toEqual([1, 1, 1, 0, 1.41, 1.41, 1, 1])
  expect(LAYOUTS.mono.map(loudnessWeight)).toEqual([1])
})

test('the fold-down of 5.1 is that of BS.775: 0.7071 for centre and surrounds, no LFE, worst case +7.66 dB', () => {
  // ITU-R BS.775-4 Table 2.
  const rows = foldDownCoefficients('5.1')
  const [lo, ro] = [rows.map(([left]) => left), rows.map(([, right]) => right)]
  expect(lo.map((k) => Number(k.toFixed(4)))).toEqual([1, 0, 0.7071, 0, 0.7071, 0])
  expect(ro.map((k) => Number(k.toFixed(4)))).toEqual([0, 1, 0.7071, 0, 0, 0.7071])
  expect(20 * Math.log10(lo.reduce((sum, k) => sum + k, 0))).toBeCloseTo(7.66, 2)
})

test('every layout folds each channel once, left and right alike', () => {
  for (const layout of Object.keys(LAYOUTS) as LayoutName[]) {
    const rows = foldDownCoefficients(layout)
    expect(rows).toHaveLength(LAYOUTS[layout].length)
    const power = (side: 0 | 1) => rows.reduce((sum, row) => sum + row[side] ** 2, 0)
    expect(power(0)).toBeCloseTo(power(1), 12)
  }
})
