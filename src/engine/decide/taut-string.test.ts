import fc from 'fast-check'
import { describe, expect, test } from 'vitest'
import { corridors, type Walls } from '../../../test/testkit/corridors.ts'
import { tautString } from './taut-string.ts'

const stepsOf = (curve: Float64Array) => curve.subarray(1).map((value, k) => value - (curve[k] as number))
const isLevel = (curve: Float64Array) => curve.every((value) => value === curve[0])

function expectSame(found: Float64Array, expected: Float64Array) {
  for (const [k, value] of expected.entries()) expect(found[k]).toBeCloseTo(value, 9)
}

// The properties follow from the definition: a unique curve of least movement inside the walls, both ends free.
describe('the taut string', () => {
  test('stays inside the corridor', () => {
    fc.assert(
      fc.property(corridors(200), ({ lower, upper }) => {
        const string = tautString(lower, upper)
        return string.every((value, k) => value >= (lower[k] as number) && value <= (upper[k] as number))
      }),
      { numRuns: 2000 },
    )
  })

  test('is the same read backwards', () => {
    fc.assert(
      fc.property(corridors(120), ({ lower, upper }) => {
        expectSame(tautString(lower.toReversed(), upper.toReversed()), tautString(lower, upper).toReversed())
      }),
      { numRuns: 1000 },
    )
  })

  test('is the mirror image in the mirrored corridor, unless it is level and has room', () => {
    fc.assert(
      fc.property(corridors(120), ({ lower, upper }) => {
        const string = tautString(lower, upper)
        const mirrored = tautString(negated({ lower, upper }).lower, negated({ lower, upper }).upper)
        if (isLevel(string)) expect(isLevel(mirrored)).toBe(true)
        else
          expectSame(
            mirrored,
            string.map((value) => -value),
          )
      }),
      { numRuns: 1000 },
    )
  })

  test('bends upward only at the upper wall and downward only at the lower wall', () => {
    fc.assert(
      fc.property(corridors(150), ({ lower, upper }) => {
        const string = tautString(lower, upper)
        const steps = stepsOf(string)
        for (let k = 1; k < steps.length; k++) {
          const bend = (steps[k] as number) - (steps[k - 1] as number)
          if (bend > 1e-9) expect(string[k]).toBeCloseTo(upper[k] as number, 9)
          if (bend < -1e-9) expect(string[k]).toBeCloseTo(lower[k] as number, 9)
        }
      }),
      { numRuns: 1000 },
    )
  })

  test('never steps further than the walls do', () => {
    fc.assert(
      fc.property(fc.array(fc.integer({ min: -300, max: 300 }), { maxLength: 200 }), (steps) => {
        let height = 0
        const upper = Float64Array.from([0, ...steps], (step) => {
          height += step
          return height
        })
        const string = tautString(
          upper.map((value) => value - 1000),
          upper,
        )
        return stepsOf(string).every((step) => Math.abs(step) <= 300 + 1e-9)
      }),
      { numRuns: 500 },
    )
  })

  test('rests at the highest level where a level string fits', () => {
    expect([...tautString(Float64Array.of(-2, -3, -1), Float64Array.of(0, 2, 1))]).toEqual([0, 0, 0])
    expect([...tautString(Float64Array.of(), Float64Array.of())]).toEqual([])
    expect([...tautString(Float64Array.of(-1), Float64Array.of(4))]).toEqual([4])
  })

  test('passes half a million points of a rough corridor without falling into quadratic time', () => {
    const count = 500_000
    const upper = Float64Array.from({ length: count }, (_, k) => (k - count / 2) ** 2 / count ** 2)
    const lower = upper.map((value, k) => value - 1e-9 * (1 + (k % 7)))
    const string = tautString(lower, upper)
    expect(string[count / 2]).toBeLessThanOrEqual(upper[count / 2] as number)
  }, 5000)
})

function negated({ lower, upper }: Walls): Walls {
  return { lower: upper.map((value) => -value), upper: lower.map((value) => -value) }
}
