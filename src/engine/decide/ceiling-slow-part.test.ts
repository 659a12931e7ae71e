import fc from 'fast-check'
import { describe, expect, test } from 'vitest'
import { GAIN_STEP_DB, type GainPlan, type Measured } from '../../domain/index.ts'
import { planSlowCeiling } from './ceiling-slow-part.ts'

const CEILING_DBTP = -1
const PLAN: GainPlan = { staticGainDb: 0, rideDb: null, ceilingDbtp: CEILING_DBTP }

/** A programme of which only the highest samples of each 100 ms are known, in dB over the ceiling. */
function peaking(overDb: readonly number[]): Measured {
  const linkedPeak100ms = Float64Array.from(overDb, (db) => 10 ** ((CEILING_DBTP + db) / 20))
  return { sampleRateHz: 48000, linkedPeak100ms, lfePeak100ms: null } as unknown as Measured
}

const SOFT = -20
const hops = (count: number, at: (hop: number) => number) => Array.from({ length: count }, (_, hop) => at(hop))
const slowOf = (overDb: readonly number[]) => planSlowCeiling(peaking(overDb), PLAN)?.linkedDb ?? null

describe('the slow part of the ceiling', () => {
  test('holds what comes again twice a second at one depth, and nothing before or after it', () => {
    const slow = slowOf(hops(100, (hop) => (hop >= 20 && hop <= 70 && hop % 5 === 0 ? 6 : SOFT))) as Float64Array
    const depths = new Set(slow.subarray(20, 71))
    expect(depths.size).toBe(1)
    // The aim lies 0.03 dB below the ceiling, and steps of a plan are 2^-12 dB.
    expect(slow[45]).toBeCloseTo(-6.03, 3)
    expect([...slow.subarray(0, 20), ...slow.subarray(71)].every((db) => db === 0)).toBe(true)
  })

  test('leaves single hits, and hits two seconds apart, to the fast part', () => {
    expect(slowOf(hops(100, (hop) => (hop % 20 === 3 ? 9 : SOFT)))).toBeNull()
  })

  test('a hit that stands 5 dB out of a passage is not held for the passage', () => {
    const slow = slowOf(hops(100, (hop) => (hop === 50 ? 8 : 3))) as Float64Array
    expect(Math.min(...slow)).toBeCloseTo(-3.03, 3)
  })

  test('never takes more than the deepest peak within the time that is held together asks for', () => {
    const over = fc.array(fc.double({ min: -12, max: 12, noNaN: true }), { minLength: 1, maxLength: 120 })
    fc.assert(
      fc.property(over, (overDb) => {
        const slow = slowOf(overDb)
        if (slow === null) return
        slow.forEach((db, hop) => {
          const near = overDb.slice(Math.max(0, hop - 40), hop + 41)
          expect(-db).toBeLessThanOrEqual(Math.max(0, ...near) + 0.03 + GAIN_STEP_DB + 1e-9)
          expect(db === 0 || Number.isInteger(db / GAIN_STEP_DB)).toBe(true)
          expect(db).toBeLessThanOrEqual(0)
        })
      }),
      { seed: 23, numRuns: 200 },
    )
  })

  test('goes only as deep as the total may fall by 1 LU', () => {
    // Every hop alike: the total falls by what is taken.
    const slow = planSlowCeiling(peaking(hops(60, () => 6)), PLAN, (slowDb) => -(slowDb[30] as number))
    expect(slow?.linkedDb?.[30]).toBeLessThan(-0.98)
    expect(slow?.linkedDb?.[30]).toBeGreaterThanOrEqual(-1)
  })

  test('stretches that are no programme do not work it', () => {
    const all = peaking(hops(100, () => 6))
    const slow = planSlowCeiling(all, { ...PLAN, programme: [{ startFrame: 144000, endFrame: 288000 }] })
    const at = slow?.linkedDb as Float64Array
    expect([at[10], at[80]].map(Math.abs)).toEqual([0, 0])
    expect(at[45]).toBeCloseTo(-6.03, 3)
  })
})
