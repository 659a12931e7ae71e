import fc from 'fast-check'
import { describe, expect, test } from 'vitest'
import { energyOf, measuredOf, seededRandom, steps } from '../../../test/testkit/programmes.ts'
import {
  describeMeasured,
  gatedLoudness,
  jointLoudness,
  loudestMomentary,
  loudestShortTerm,
  loudnessCurves,
  loudnessOf,
  loudnessRange,
  momentary,
  powerOf,
  shortTerm,
  toHops,
  windowMeans,
} from './index.ts'

const total = (fine: Float64Array) => gatedLoudness(toHops(fine))
const range = (fine: Float64Array) => loudnessRange(toHops(fine))

describe('levels', () => {
  test('a full-scale 997 Hz sine in one channel reads -3.01 (BS.1770-5 Annex 1)', () => {
    // Mean square 1/2, K-weighting +0.691 dB at 997 Hz.
    expect(loudnessOf(0.5 * 10 ** 0.0691)).toBeCloseTo(-3.0103, 4)
  })

  test('power and loudness are inverse; silence is -Infinity', () => {
    for (const lkfs of [-100, -70, -23, 0, 6]) expect(loudnessOf(powerOf(lkfs))).toBeCloseTo(lkfs, 12)
    expect(loudnessOf(0)).toBe(Number.NEGATIVE_INFINITY)
  })
})

describe('windows', () => {
  const powers = fc.array(fc.oneof(fc.constant(0), fc.double({ min: 1e-12, max: 10, noNaN: true })), { maxLength: 90 })

  test('every window is the plain mean of its values, and exactly 0 in silence', () => {
    fc.assert(
      fc.property(powers, fc.integer({ min: 1, max: 40 }), (values, length) => {
        const means = windowMeans(Float64Array.from(values), length)
        expect(means.length).toBe(Math.max(0, values.length - length + 1))
        for (const [i, mean] of means.entries()) {
          const plain = values.slice(i, i + length).reduce((sum, value) => sum + value, 0) / length
          expect(Math.abs(mean - plain)).toBeLessThanOrEqual(1e-14 * plain)
        }
      }),
    )
  })

  test('no momentary value before 400 ms, no short-term value before 3 s (Tech 3341)', () => {
    expect(momentary(steps([0.39, -23]))).toHaveLength(0)
    expect(momentary(steps([0.4, -23]))).toHaveLength(1)
    expect(shortTerm(steps([2.99, -23]))).toHaveLength(0)
    expect(shortTerm(steps([3, -23]))).toHaveLength(1)
    expect(momentary(toHops(steps([0.4, -23])), 10)).toHaveLength(1)
    expect(shortTerm(toHops(steps([3, -23])), 10)).toHaveLength(1)
  })

  test('a begun 100 ms at the end is dropped', () => {
    expect(toHops(new Float64Array(29).fill(1))).toEqual(new Float64Array([1, 1]))
  })

  test('the loudest window stands where the loud stretch is, to 10 ms', () => {
    const fine = steps([5.37, -40], [0.4, -10], [7, -40])
    expect(loudestMomentary(fine)?.startSeconds).toBeCloseTo(5.37, 9)
    expect(loudestMomentary(fine)?.loudnessLkfs).toBeCloseTo(-10, 9)
    const held = steps([5.37, -40], [3, -10], [7, -40])
    expect(loudestShortTerm(held)?.startSeconds).toBeCloseTo(5.37, 9)
    expect(loudestShortTerm(held)?.loudnessLkfs).toBeCloseTo(-10, 9)
  })

  test('the curves hold the maxima', () => {
    const fine = steps([4, -30], [1, -12], [4, -30])
    const curves = loudnessCurves(measuredOf(fine, null, '2.0'))
    expect(Math.max(...curves.momentary.lkfs)).toBe(loudestMomentary(fine)?.loudnessLkfs)
    expect(Math.max(...curves.shortTerm.lkfs)).toBe(loudestShortTerm(fine)?.loudnessLkfs)
  })
})

describe('gates', () => {
  test('a block at exactly -70 LKFS does not count, one above does (BS.1770-5 Annex 1, equation 5)', () => {
    const just = powerOf(-70)
    expect(gatedLoudness(new Float64Array(4).fill(just))).toBeNull()
    expect(gatedLoudness(new Float64Array(4).fill(just * (1 + 1e-12)))).toBeCloseTo(-70, 9)
  })

  test('less than one block and silence cannot be measured', () => {
    expect(gatedLoudness(new Float64Array(3).fill(1))).toBeNull()
    expect(gatedLoudness(new Float64Array(100))).toBeNull()
    expect(loudnessRange(new Float64Array(29).fill(1))).toBeNull()
    expect(loudnessRange(new Float64Array(100))).toBeNull()
    expect(loudestMomentary(new Float64Array(1000))).toBeNull()
  })

  test('the gated total of a drama leaves out its pauses (Tech 3341 signals 3 and 5)', () => {
    expect(total(steps([10, -36], [60, -23], [10, -36]))).toBeCloseTo(-23.02, 1)
    expect(total(steps([20, -26], [20.1, -20], [20, -26]))).toBeCloseTo(-22.98, 1)
  })

  test('several programmes share one gate, and no block reaches across their borders', () => {
    const [quiet, loud] = [toHops(steps([20, -40])), toHops(steps([20, -20]))]
    // The quiet one alone reads -40; beside the loud one it is 17 LU below the ungated mean and falls out.
    expect(gatedLoudness(quiet)).toBeCloseTo(-40, 9)
    expect(jointLoudness([quiet, loud])).toBeCloseTo(-20, 9)
    const joined = gatedLoudness(Float64Array.from([...quiet, ...loud]))
    expect(joined).toBeLessThan(-20.02)
    expect(jointLoudness([loud])).toBe(gatedLoudness(loud))
  })

  test('a gain of x dB moves loudness by x LU and leaves the range, as long as no gate is crossed', () => {
    const random = seededRandom(3)
    const fine = Float64Array.from({ length: 6000 }, () => energyOf(-30 + 12 * random()))
    fc.assert(
      fc.property(fc.double({ min: -20, max: 20, noNaN: true }), (gainDb) => {
        const gained = fine.map((energy) => energy * 10 ** (gainDb / 10))
        expect(Math.abs((total(gained) ?? 0) - (total(fine) ?? 0) - gainDb)).toBeLessThan(1e-6)
        expect(Math.abs((range(gained) ?? 0) - (range(fine) ?? 0))).toBeLessThan(1e-6)
      }),
    )
  })
})

describe('range', () => {
  test('signals 1 to 4 of Tech 3342 as energies', () => {
    expect(range(steps([20, -20], [20, -30]))).toBeCloseTo(10, 9)
    expect(range(steps([20, -20], [20, -15]))).toBeCloseTo(5, 9)
    expect(range(steps([20, -40], [20, -20]))).toBeCloseTo(20, 9)
    expect(range(steps([20, -50], [20, -35], [20, -20], [20, -35], [20, -50]))).toBeCloseTo(15, 9)
  })

  test('nearest rank, no interpolation (Tech 3342): 3.9 s have ten windows, ranks 1 and 9', () => {
    const hops = Float64Array.from({ length: 39 }, (_, i) => energyOf(-30 + i / 4))
    const sorted = shortTerm(hops, 10).sort()
    expect(loudnessRange(hops)).toBeCloseTo((sorted[9] as number) - (sorted[1] as number), 12)
  })
})

test('figures that cannot be measured are null, the others stand', () => {
  const figures = describeMeasured(measuredOf(steps([1, -23]), steps([1, -90]), '5.1'))
  expect(figures).toMatchObject({ loudnessRangeLu: null, maxShortTermLkfs: null, dialogueLoudnessLkfs: null })
  expect(figures.programmeLoudnessLkfs).toBeCloseTo(-23, 9)
  expect(figures.durationSeconds).toBe(1)
  expect(figures.channels.map(({ role }) => role)).toEqual(['L', 'R', 'C', 'LFE', 'Ls', 'Rs'])
  expect(figures.foldDown.loRo).toMatchObject({ programmeLoudnessLkfs: null })
  expect(figures.foldDown).toMatchObject({ ltRt: null, mono: null })
})
