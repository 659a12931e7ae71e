import { expect, test } from 'vitest'
import { landOnTarget } from './land-on-target.ts'

const RANGE = [-120, 40] as const

// Roots of functions that can be written down: the search must find them wherever they lie.
test('lands on straight, bent and flat totals from either side', () => {
  const bent = (gainDb: number) => -30 + (gainDb < 3 ? gainDb : 3 + 0.05 * (gainDb - 3))
  for (const [totalAt, targetLkfs, root] of [
    [(gainDb: number) => -30 + gainDb, -24, 6],
    [(gainDb: number) => -10 + gainDb, -24, -14],
    [bent, -26.5, 13],
    [bent, -28, 2],
  ] as const) {
    for (const startDb of [root - 5, root + 3, root]) {
      const { landed, jumps } = landOnTarget(totalAt, targetLkfs, startDb, -120, RANGE)
      expect(Math.abs(totalAt(landed?.gainDb as number) - targetLkfs)).toBeLessThanOrEqual(0.001)
      expect(jumps).toEqual([])
    }
  }
})

test('takes few evaluations where the total bends gently', () => {
  let evaluations = 0
  const totalAt = (gainDb: number) => {
    evaluations++
    return -30 + gainDb - 0.01 * gainDb * gainDb
  }
  expect(landOnTarget(totalAt, -24, 6, 0, RANGE).landed?.gainDb).toBeCloseTo(6.41, 1)
  expect(evaluations).toBeLessThanOrEqual(8)
})

test('tells a leap down and finds the gains on both sides of it', () => {
  const totalAt = (gainDb: number) => -24 + 0.02 * gainDb - (gainDb >= 0.0802 ? 2.79 : 0)
  const { landed, jumps } = landOnTarget(totalAt, -23.9, 0.1, 0, RANGE)
  expect(landed).toBeNull()
  expect(jumps).toHaveLength(1)
  expect(jumps[0]?.lower.gainDb).toBeLessThan(0.0802)
  expect(jumps[0]?.higher.gainDb).toBeGreaterThanOrEqual(0.0802)
  expect((jumps[0]?.higher.gainDb as number) - (jumps[0]?.lower.gainDb as number)).toBe(1 / 4096)
})

test('tells a leap up over the target', () => {
  const totalAt = (gainDb: number) => -30 + gainDb + (gainDb >= 5.5 ? 1 : 0)
  const { landed, jumps } = landOnTarget(totalAt, -24, 5, 5, RANGE)
  expect(landed).toBeNull()
  expect(jumps.map(({ lower }) => lower.totalLkfs < -24)).toEqual([true])
  expect(jumps.map(({ higher }) => higher.totalLkfs > -24)).toEqual([true])
})

test('gives up at the end of the range', () => {
  const { landed, jumps, trials } = landOnTarget((gainDb) => Math.min(-30 + gainDb, -26), -24, 6, 2, RANGE)
  expect(landed).toBeNull()
  expect(jumps).toEqual([])
  expect(Math.max(...trials.map(({ gainDb }) => gainDb))).toBe(40)
  expect(trials.length).toBeLessThan(12)
})
