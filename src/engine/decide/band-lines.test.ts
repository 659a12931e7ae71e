import { describe, expect, test } from 'vitest'
import { seededRandom } from '../../../test/testkit/programmes.ts'
import {
  type BandLevelLimit,
  defaultSettings,
  FIT_PARAMETERS,
  type Measured,
  STANDING_VALUES,
} from '../../domain/index.ts'
import { type BandsHeard, bandLinesToMeet, excessOf } from './band-excess.ts'
import { bandOutOfReach, bandRules, solveBandLine } from './band-lines.ts'
import type { FitCorrection } from './decision.ts'

const HOPS = 400
const WINDOW = 30

const line = (wishes: Partial<BandLevelLimit>): BandLevelLimit => ({
  id: 'low-end',
  fromHz: null,
  toHz: 120,
  over: 'short-term',
  beside: 'full-scale',
  value: -30,
  severity: 'fail',
  source: { document: 'Harbour Television', edition: '1986', clause: '7.2', basis: 'user' },
  ...wishes,
})

/** A band far inside its corners: what is taken from it is taken from all of it, so the band of the band is the band. */
function solved(powers: readonly Float64Array[], asked: BandLevelLimit, correction: FitCorrection = {}) {
  const values = new Float64Array(HOPS * powers.length * STANDING_VALUES)
  for (const [signal, of] of powers.entries()) {
    for (let hop = 0; hop < HOPS; hop++) {
      for (let i = 0; i < STANDING_VALUES; i++) {
        values[(hop * powers.length + signal) * STANDING_VALUES + i] = of[hop] as number
      }
    }
  }
  const gains = powers.map(() => new Float64Array(HOPS).fill(1))
  const heard: BandsHeard = { gains, loudnessLkfs: powers.map(() => -24), parts: [{ first: 0, end: HOPS }] }
  const energies = { programme10ms: new Float64Array(HOPS * 10).fill(0.001), linkedPeak100ms: new Float64Array(HOPS) }
  const rules = bandRules(energies as unknown as Measured, defaultSettings(FIT_PARAMETERS), correction)
  const standings = { values, lines: [asked], signalCount: powers.length }
  const solution = solveBandLine({ standings, line: 0, pass: 1, plan: null, heard, leadDb: 0, shiftDb: 0 }, rules)
  return { ...solution, gainDb: solution.plan.gainDb, excess: excessOf(standings, 0, heard) }
}

/** The highest window, or the whole, that a reduction leaves. */
function left(powers: Float64Array, gainDb: Float64Array, hops: number): number {
  let highest = 0
  for (let first = 0; first + hops <= powers.length; first++) {
    let sum = 0
    for (let k = first; k < first + hops; k++) sum += (powers[k] as number) * 10 ** ((gainDb[k] as number) / 10)
    highest = Math.max(highest, sum / hops)
  }
  return 10 * Math.log10(highest)
}

function bursts(seed: number): Float64Array {
  const random = seededRandom(seed)
  const powers = new Float64Array(HOPS)
  for (let k = 0; k < HOPS; ) {
    const end = k + 1 + Math.floor(random() * 50)
    const db = -50 + 40 * random()
    for (; k < Math.min(end, HOPS); k++) powers[k] = 10 ** ((db + 3 * random()) / 10)
  }
  return powers
}

describe('a line in 3 s', () => {
  test.each(Array.from({ length: 40 }, (_, seed) => seed + 1))(
    'is met within 0.05 dB, not more: programme %d',
    (seed) => {
      const powers = [bursts(seed), bursts(seed + 1000)]
      const { gainDb, missed } = solved(powers, line({ value: -24 }))
      const highest = Math.max(...powers.map((of) => left(of, gainDb, WINDOW)))
      expect(missed).toBeNull()
      expect(highest).toBeLessThanOrEqual(-24)
      expect(highest).toBeGreaterThan(-24.05)
      expect(Math.max(...gainDb)).toBeLessThanOrEqual(0)
    },
  )

  test('asks for nothing where every window keeps it', () => {
    const powers = new Float64Array(HOPS).fill(1e-4)
    const { gainDb, excess } = solved([powers], line({ value: -39.9 }))
    expect(gainDb.every((db) => db === 0)).toBe(true)
    expect(excess?.excessDb).toBeCloseTo(-0.1, 9)
  })

  test('a drone is turned down by what it is over, once, and what stands by itself is left alone', () => {
    const powers = new Float64Array(HOPS).fill(1e-6)
    powers.fill(0.1, 150, 250)
    const { gainDb } = solved([powers], line({ value: -20 }))
    // -10 dBFS against -20, and the guard of 0.01 dB.
    expect(gainDb[200]).toBeCloseTo(-10.01, 2)
    const movement = gainDb.reduce((sum, db, k) => sum + Math.abs(db - (gainDb[k - 1] ?? db)), 0)
    expect(movement).toBeCloseTo(2 * 10.01, 2)
    // It comes and goes at 20 dB/s at most, within the reach of the ride, 4 s.
    expect(gainDb.subarray(0, 103).every((db) => db === 0)).toBe(true)
    expect(gainDb.subarray(297).every((db) => db === 0)).toBe(true)
  })

  test('more than 24 dB is not taken: the place and what is missing are told', () => {
    const powers = new Float64Array(HOPS).fill(1e-6)
    powers.fill(0.1, 150, 250)
    const asked = line({ value: -40 })
    const { missed } = solved([powers], asked)
    expect(missed?.missedDb).toBeCloseTo(6, 2)
    const told = bandOutOfReach(asked, missed!)
    expect(told).toMatchObject({ id: 'band-out-of-reach', severity: 'fail', line: 'bandLevels.low-end', allowed: -40 })
    expect(told.at?.startSeconds).toBeGreaterThanOrEqual(15)
    expect(told.at?.endSeconds).toBeLessThanOrEqual(25)
  })

  test('a lock is kept, and told where the line cannot be', () => {
    const powers = new Float64Array(HOPS).fill(1e-6)
    powers.fill(0.1, 150, 250)
    const locks = [{ startSeconds: 12, endSeconds: 28, toleranceDb: 2 }]
    const asked = line({ value: -20 })
    const { gainDb, missed } = solved([powers], asked, { locks })
    expect(Math.min(...gainDb.subarray(120, 280))).toBeGreaterThanOrEqual(-2)
    expect(missed?.missedDb).toBeCloseTo(8, 2)
    expect(bandOutOfReach(asked, missed!).message).toMatch(/than the lock there allows/)
  })
})

test('a line on the whole is met by one gain, which moves nothing', () => {
  const powers = bursts(7)
  const { gainDb } = solved([powers], line({ over: 'programme', value: -30 }))
  expect(new Set(gainDb).size).toBe(1)
  expect(left(powers, gainDb, HOPS)).toBeCloseTo(-30.01, 3)
})

test('beside the loudness, a line stands where the loudness of that file does', () => {
  const powers = new Float64Array(HOPS).fill(0.01)
  const { gainDb } = solved([powers], line({ value: -6, beside: 'programme-loudness' }))
  expect(gainDb[200]).toBeCloseTo(-10.01, 2)
})

test('only lines that fail a delivery are solved, those in 3 s first, and none where bands are set by hand', () => {
  const bandLevels = [
    line({ id: 'whole', over: 'programme' }),
    line({ id: 'warned', severity: 'warn' }),
    line({ id: 'windows' }),
  ]
  const spec = { bandLevels } as never
  const settings = defaultSettings(FIT_PARAMETERS)
  expect(bandLinesToMeet(spec, settings).map(({ id }) => id)).toEqual(['windows', 'whole'])
  for (const bands of ['manual', 'off'] as const) expect(bandLinesToMeet(spec, { ...settings, bands })).toEqual([])
})
