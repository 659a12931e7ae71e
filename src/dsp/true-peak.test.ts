import { describe, expect, test } from 'vitest'
import { TRUE_PEAK_PHASES } from './true-peak.ts'

const [outer, inner] = TRUE_PEAK_PHASES as [number[], number[]]

const magnitude = (values: readonly number[]) => values.reduce((sum, value) => sum + Math.abs(value), 0)

describe('the interpolating table', () => {
  test('sums of its phases', () => {
    // Added up from the table of ITU-R BS.1770-5 Annex 2 by hand calculator.
    expect(magnitude(inner)).toBe(2.0228271484375)
    expect(magnitude(outer)).toBe(1.4342041015625)
  })
})

/**
 * Writes taps as (a few single samples) + (second differences at places 1 to 10), so that a point is at most
 * flat x highest |sample| + curved x highest |second difference|: `singles` are the taps at the given places, the rest
 * is taken up by second differences. Gives both sums, or nothing if something is left over.
 */
function split(taps: readonly number[], singles: readonly (readonly [number, number])[]) {
  const rest = [...taps]
  for (const [place, tap] of singles) rest[place] = (rest[place] as number) - tap
  const differences: number[] = []
  for (let place = 1; place <= 10; place++) {
    // x[place-1] - 2 x[place] + x[place+1] takes what is left at place - 1.
    const share = rest[place - 1] as number
    differences.push(share)
    rest[place - 1] = 0
    rest[place] = (rest[place] as number) + 2 * share
    rest[place + 1] = (rest[place + 1] as number) - share
  }
  const left = Math.max(...rest.map(Math.abs))
  return { left, flat: magnitude(singles.map(([, tap]) => tap)), curved: magnitude(differences) }
}

/** Single taps that make the bound smallest, found by a linear program (SciPy linprog); the test proves each. */
const SPLITS = [
  {
    bound: 'outer',
    taps: outer,
    singles: [
      [0, 0.00248209635416674],
      [5, 0.15856933593749864],
      [6, 0.8405354817708356],
    ],
    flat: 1.0016,
    curved: 0.1524,
  },
  {
    bound: 'inner, flat',
    taps: inner,
    singles: [
      [5, 0.2979736328125009],
      [6, 0.6750488281249994],
    ],
    flat: 0.9731,
    curved: 0.5698,
  },
  {
    bound: 'inner, steep',
    taps: inner,
    singles: [
      [0, -0.0145263671875],
      [5, 0.3732299804687506],
      [6, 0.6166992187499997],
      [11, -0.002380371093749999],
    ],
    flat: 1.0069,
    curved: 0.365,
  },
] as const

describe('the bounds that let the kernel skip blocks are true of the table', () => {
  test.each(SPLITS)('$bound', ({ taps, singles, flat, curved }) => {
    const proof = split(taps, singles)
    expect(proof.left).toBeLessThan(1e-14)
    // 2e-5 is kept for the rounding of float32 sums of twelve terms, which is below 1e-6.
    expect(proof.flat).toBeLessThan(flat - 1e-5)
    expect(proof.curved).toBeLessThan(curved - 2e-5)
  })
})
