import { execFileSync } from 'node:child_process'
import fc from 'fast-check'
import { expect, test } from 'vitest'
import { tautString } from '../../src/engine/decide/taut-string.ts'
import { corridors } from '../testkit/corridors.ts'

type Optima = { readonly variation: number; readonly largestStep: number; readonly squares: number }

/** The three costs of a curve that the taut string minimises at once. */
function costsOf(curve: Float64Array): Optima {
  const steps = Array.from(curve.subarray(1), (value, k) => Math.abs(value - (curve[k] as number)))
  return {
    variation: steps.reduce((sum, step) => sum + step, 0),
    largestStep: Math.max(0, ...steps),
    squares: steps.reduce((sum, step) => sum + step * step, 0),
  }
}

// Oracle: SciPy's HiGHS (total variation and largest step as linear programs) and SciPy's bounded-variable least
// squares (sum of squared steps) on the same corridors. Theorem: Barlow et al. 1972; Davies & Kovac 2001.
test('the taut string reaches the optima of a linear-programming package and of bounded least squares', () => {
  const walls = fc
    .sample(corridors(28), { numRuns: 420, seed: 1972 })
    .filter(({ lower }) => lower.length >= 2)
    .map(({ lower, upper }) => ({ lower: Array.from(lower), upper: Array.from(upper) }))
  const script = new URL('taut-string-oracle.py', import.meta.url).pathname
  const output = execFileSync('/usr/bin/python3', [script], { input: JSON.stringify(walls), maxBuffer: 1 << 26 })
  const optima = JSON.parse(output.toString()) as Optima[]
  expect(optima).toHaveLength(walls.length)
  expect(walls.length).toBeGreaterThan(300)
  for (const [index, { lower, upper }] of walls.entries()) {
    const found = costsOf(tautString(Float64Array.from(lower), Float64Array.from(upper)))
    const best = optima[index] as Optima
    expect(found.variation).toBeCloseTo(best.variation, 7)
    expect(found.largestStep).toBeCloseTo(best.largestStep, 7)
    expect(found.squares).toBeCloseTo(best.squares, 7)
  }
})
