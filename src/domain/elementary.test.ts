import fc from 'fast-check'
import { expect, test } from 'vitest'
import { dbToGain, dbToPower, exp2, gainToDb, powerToDb } from './elementary.ts'

const TWO_ULP = 2 * Number.EPSILON

test('powers of two agree with the platform within two units in the last place', () => {
  fc.assert(
    fc.property(fc.double({ min: -1000, max: 1000, noNaN: true }), (x) => {
      expect(Math.abs(exp2(x) / 2 ** x - 1)).toBeLessThanOrEqual(TWO_ULP)
    }),
    { numRuns: 2000 },
  )
})

test('whole powers are exact, and the ends are what they must be', () => {
  for (const n of [-1000, -12, -1, 0, 1, 10, 52, 1000]) expect(exp2(n)).toBe(2 ** n)
  expect(exp2(-1100)).toBe(0)
  expect(exp2(1100)).toBe(Number.POSITIVE_INFINITY)
})

test('decibels agree with the definition: 20 log10 of amplitude, 10 log10 of power', () => {
  fc.assert(
    fc.property(fc.double({ min: -150, max: 60, noNaN: true }), (db) => {
      expect(dbToGain(db)).toBeCloseTo(10 ** (db / 20), 9)
      expect(dbToPower(db)).toBeCloseTo(10 ** (db / 10), 6)
      expect(gainToDb(10 ** (db / 20))).toBeCloseTo(db, 10)
      expect(powerToDb(10 ** (db / 10))).toBeCloseTo(db, 10)
    }),
    { numRuns: 1000 },
  )
})

test('silence has no level', () => {
  expect(gainToDb(0)).toBe(Number.NEGATIVE_INFINITY)
  expect(powerToDb(0)).toBe(Number.NEGATIVE_INFINITY)
})
