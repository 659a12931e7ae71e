import { expect, test } from 'vitest'
import { measuredOf, steps } from '../../../test/testkit/programmes.ts'
import { type GainPlan, HOPS_PER_SEGMENT, type Measured } from '../../domain/index.ts'
import { ceilingCandidates, ceilingLoss } from './ceiling-forecast.ts'

const plan: GainPlan = { staticGainDb: 0, rideDb: null, ceilingDbtp: -2.1 }

/** Three segments and a bit at -30 LKFS whose peaks are 0.1, but for the given hops. */
function programmeWithPeaks(peaks: Readonly<Record<number, number>>): Measured {
  const measured = measuredOf(steps([80, -30]))
  const linkedPeak100ms = new Float64Array(800).fill(0.1)
  for (const [hop, peak] of Object.entries(peaks)) linkedPeak100ms[Number(hop)] = peak
  return { ...measured, linkedPeak100ms }
}

test('only segments with a hop whose interpolated peak could pass the ceiling are candidates', () => {
  expect(ceilingCandidates(programmeWithPeaks({}), plan)).toEqual([])
  // -2.1 dBTP is 0.7852 of full scale: 0.3881 x 2.023 stays below it, 0.3883 x 2.023 does not.
  expect(ceilingCandidates(programmeWithPeaks({ 300: 0.3881 }), plan)).toEqual([])
  expect(ceilingCandidates(programmeWithPeaks({ 300: 0.3883 }), plan)).toEqual([1])
  expect(ceilingCandidates(programmeWithPeaks({ 300: 0.3883 }), { ...plan, ceilingDbtp: null })).toEqual([])
})

test('a peak at the edge of a segment makes its neighbour a candidate', () => {
  expect(ceilingCandidates(programmeWithPeaks({ [HOPS_PER_SEGMENT - 1]: 0.9 }), plan)).toEqual([0, 1])
  expect(ceilingCandidates(programmeWithPeaks({ [2 * HOPS_PER_SEGMENT]: 0.9 }), plan)).toEqual([1, 2])
  expect(ceilingCandidates(programmeWithPeaks({ 0: 0.9, 799: 0.9 }), plan)).toEqual([0, 3])
})

test('static gain and ride count, also where the ride has just moved away', () => {
  const measured = programmeWithPeaks({ 300: 0.2 })
  expect(ceilingCandidates(measured, { ...plan, staticGainDb: 6 })).toEqual([1])
  const rideDb = new Float64Array(800).fill(-6)
  expect(ceilingCandidates(measured, { ...plan, staticGainDb: 6, rideDb })).toEqual([])
  expect(ceilingCandidates(measured, { ...plan, staticGainDb: 6, rideDb: rideDb.with(301, 0) })).toEqual([1])
})

test('the loss of a hop is what the rendered segment lacks', () => {
  const measured = measuredOf(steps([80, -30]))
  const rendered = measuredOf(steps([1, -26], [1, -27.5], [23.6, -26]))
  const lossDb = ceilingLoss(measured, { ...plan, staticGainDb: 4 }, [{ segment: 1, measured: rendered }])
  expect(lossDb).toHaveLength(800)
  expect(lossDb[HOPS_PER_SEGMENT + 5]).toBeCloseTo(0, 9)
  expect(lossDb[HOPS_PER_SEGMENT + 15]).toBeCloseTo(-1.5, 9)
  expect(lossDb.every((loss, hop) => loss > -1e-9 || (hop >= 266 && hop < 276))).toBe(true)
})
