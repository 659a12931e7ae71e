import { execFileSync } from 'node:child_process'
import fc from 'fast-check'
import { expect, test } from 'vitest'
import { leastWeightedRide, weightedMovement } from '../../src/engine/decide/weighted-ride.ts'
import { corridors } from '../testkit/corridors.ts'

const weights = fc.oneof(fc.constantFrom(1, 4, 16, 32), fc.double({ min: 0.01, max: 50, noNaN: true }))
const slews = fc.oneof(fc.constantFrom(0.25, 1, 6), fc.double({ min: 0.01, max: 8, noNaN: true }))

/** Random corridors that can be passed: the upper wall is brought down until it keeps the slew, the lower one below it. */
const tasks = corridors(28).chain(({ lower, upper }) =>
  fc
    .record({
      weight: fc.array(weights, { minLength: lower.length - 1, maxLength: lower.length - 1 }),
      slew: fc.array(slews, { minLength: lower.length - 1, maxLength: lower.length - 1 }),
    })
    .map(({ weight, slew }) => {
      const roof = Array.from(upper)
      for (let k = 1; k < roof.length; k++) {
        roof[k] = Math.min(roof[k] as number, (roof[k - 1] as number) + (slew[k - 1] as number))
      }
      for (let k = roof.length - 2; k >= 0; k--) {
        roof[k] = Math.min(roof[k] as number, (roof[k + 1] as number) + (slew[k] as number))
      }
      return { lower: roof.map((height, k) => Math.min(lower[k] as number, height)), upper: roof, weight, slew }
    }),
)

// Oracle: SciPy's HiGHS on the same corridors. The target of 1e-9 is ours.
test('no ride inside 300 and more random corridors costs less, as a linear-programming package says', () => {
  const asked = fc.sample(tasks, { numRuns: 400, seed: 1876 }).filter(({ lower }) => lower.length >= 2)
  expect(asked.length).toBeGreaterThan(300)
  const script = new URL('weighted-ride-oracle.py', import.meta.url).pathname
  const output = execFileSync('/usr/bin/python3', [script], { input: JSON.stringify(asked), maxBuffer: 1 << 26 })
  const least = JSON.parse(output.toString()) as number[]
  let highestExcess = 0
  let moving = 0
  for (const [index, { lower, upper, weight, slew }] of asked.entries()) {
    const costs = { weight: Float64Array.from(weight), slewDb: Float64Array.from(slew) }
    const ride = leastWeightedRide(Float64Array.from(lower), Float64Array.from(upper), costs)
    for (const [k, height] of ride.entries()) {
      expect(height).toBeGreaterThanOrEqual((lower[k] as number) - 1e-12)
      expect(height).toBeLessThanOrEqual((upper[k] as number) + 1e-12)
      if (k > 0) expect(Math.abs(height - (ride[k - 1] as number))).toBeLessThanOrEqual((slew[k - 1] as number) + 1e-12)
    }
    const cost = weightedMovement(ride, costs)
    if (cost > 0) moving++
    highestExcess = Math.max(highestExcess, cost - (least[index] as number))
  }
  expect(moving).toBeGreaterThan(200)
  expect(highestExcess).toBeLessThanOrEqual(1e-9)
})
