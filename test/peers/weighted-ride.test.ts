import { execFileSync } from 'node:child_process'
import fc from 'fast-check'
import { expect, test } from 'vitest'
import { buildCorridor, shaped, wallsAt } from '../../src/engine/decide/corridor.ts'
import { shapeOf } from '../../src/engine/decide/home-shape.ts'
import { leastRide } from '../../src/engine/decide/least-ride.ts'
import { leastWeightedRide, weightedMovement } from '../../src/engine/decide/weighted-ride.ts'
import { corridors } from '../testkit/corridors.ts'
import { seededRandom } from '../testkit/programmes.ts'

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

// Oracle: the same package, told nothing but the limits, home and the slew; the highest gain of each hop is random.
test('limits of the mixer are kept with the least movement there is, on random programmes', () => {
  const random = seededRandom(1986)
  const count = 40
  const quarters = (least: number, most: number) => least + Math.floor(random() * 4 * (most - least + 0.25)) / 4
  const cases = Array.from({ length: 900 }, () => {
    const weight = Array.from({ length: count - 1 }, () => [1, 4, 32][Math.floor(3 * random())] as number)
    const slew = Array.from({ length: count - 1 }, () => quarters(0.25, 2))
    const bounds = Array.from({ length: count }, () => (random() < 0.2 ? quarters(-5, 0) : 40))
    const limits = [quarters(2, 8), quarters(20, 28)].map((start) => {
      const lowestDb = quarters(-6, 0)
      return { first: Math.floor(start), last: Math.floor(start) + 4, lowestDb, highestDb: lowestDb + quarters(0, 3) }
    })
    const upper = bounds.map((bound, k) => {
      const limit = limits.find(({ first, last }) => k >= first && k <= last)
      return Math.min(bound, limit?.highestDb ?? 0, 0)
    })
    const lower = bounds.map((_, k) => limits.find(({ first, last }) => k >= first && k <= last)?.lowestDb ?? -100)
    return { lower, upper, weight, slew, bounds, limits }
  })
  const script = new URL('weighted-ride-oracle.py', import.meta.url).pathname
  const output = execFileSync('/usr/bin/python3', [script], { input: JSON.stringify(cases), maxBuffer: 1 << 26 })
  const least = JSON.parse(output.toString()) as (number | null)[]
  let compared = 0
  for (const [index, { bounds, limits, weight, slew, lower, upper }] of cases.entries()) {
    if (least[index] === null) continue
    const costs = { weight: Float64Array.from(weight), slewDb: Float64Array.from(slew), hits10ms: [] }
    const asked = limits.map(({ first, last, lowestDb, highestDb }) => ({
      startSeconds: (first + 0.500001) / 10,
      endSeconds: (last + 0.499999) / 10,
      lowestDb,
      highestDb,
    }))
    const rules = { reachSeconds: 100, costs, speech100ms: null, guardLu: 0, freeGuardLu: 0, limits: asked }
    const plain = buildCorridor([], count, rules)
    const roof = Float64Array.from(bounds)
    for (let k = 1; k < count; k++)
      roof[k] = Math.min(roof[k] as number, (roof[k - 1] as number) + (slew[k - 1] as number))
    for (let k = count - 2; k >= 0; k--)
      roof[k] = Math.min(roof[k] as number, (roof[k + 1] as number) + (slew[k] as number))
    const corridor = { ...plain, upperDb: roof, lowerDb: roof.map(() => Math.min(...roof)) }
    const nothing = new Float64Array(count)
    const shape = shapeOf({ pressDb: nothing, liftDb: nothing, roomDb: nothing }, corridor, 100, null)
    const walls = wallsAt(shaped(corridor, shape), 0)
    const ride = leastRide(walls.lower, walls.upper, costs)
    for (const [k, gainDb] of ride.entries()) {
      expect(gainDb).toBeGreaterThanOrEqual((lower[k] as number) - 1e-9)
      expect(gainDb).toBeLessThanOrEqual((upper[k] as number) + 1e-9)
    }
    expect(weightedMovement(ride, costs) - (least[index] as number)).toBeLessThanOrEqual(1e-9)
    compared++
  }
  expect(compared).toBeGreaterThan(150)
})
