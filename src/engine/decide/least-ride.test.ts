import fc from 'fast-check'
import { expect, test } from 'vitest'
import { corridors } from '../../../test/testkit/corridors.ts'
import { floorToGainStep, GAIN_STEP_DB } from '../../domain/index.ts'
import { leastRide } from './least-ride.ts'
import { tautString } from './taut-string.ts'
import { leastWeightedRide, weightedMovement } from './weighted-ride.ts'

const WIDE_DB = 100

const gridded = corridors(120).map(({ lower, upper }) => ({
  lower: lower.map(floorToGainStep),
  upper: upper.map(floorToGainStep),
}))

// From the definition: inside the walls, on the grid, no dearer than the least, and nowhere steeper than it must be.
test('the gentle ride stays inside, on the grid, and costs what the least ride costs', () => {
  const weights = fc.array(fc.constantFrom(1, 4, 32), { minLength: 120, maxLength: 120 })
  fc.assert(
    fc.property(gridded, weights, ({ lower, upper }, weight) => {
      const stepCount = lower.length - 1
      // Runs of ten steps cost the same.
      const costs = {
        weight: Float64Array.from({ length: stepCount }, (_, k) => weight[Math.floor(k / 10)] as number),
        slewDb: new Float64Array(stepCount).fill(WIDE_DB),
      }
      const ride = leastRide(lower, upper, costs)
      const least = weightedMovement(leastWeightedRide(lower, upper, costs), costs)
      expect(weightedMovement(ride, costs)).toBeLessThanOrEqual(least + 1e-9)
      for (const [k, height] of ride.entries()) {
        expect(height).toBeGreaterThanOrEqual(lower[k] as number)
        expect(height).toBeLessThanOrEqual(upper[k] as number)
        expect(Number.isInteger(height / GAIN_STEP_DB)).toBe(true)
      }
    }),
    { numRuns: 500 },
  )
})

test('where every move costs the same it moves as little as the taut string, which moves least of all', () => {
  fc.assert(
    fc.property(gridded, ({ lower, upper }) => {
      const stepCount = lower.length - 1
      const costs = {
        weight: new Float64Array(stepCount).fill(4),
        slewDb: new Float64Array(stepCount).fill(WIDE_DB),
      }
      const string = weightedMovement(tautString(lower, upper), costs)
      expect(weightedMovement(leastRide(lower, upper, costs), costs)).toBeCloseTo(string, 9)
    }),
    { numRuns: 500 },
  )
})

test('of all rides that are least it takes the highest', () => {
  const costs = { weight: Float64Array.of(1, 1, 1), slewDb: Float64Array.of(9, 9, 9) }
  expect([...leastRide(Float64Array.of(-4, -4, -4, -4), Float64Array.of(0, -2, -2, 0), costs)]).toEqual([
    -2, -2, -2, -2,
  ])
  expect([...leastRide(Float64Array.of(), Float64Array.of(), costs)]).toEqual([])
  expect([...leastRide(Float64Array.of(-1), Float64Array.of(3), costs)]).toEqual([3])
})
