import { describe, expect, test } from 'vitest'
import { dramaEnergies, measuredOf, steps } from '../../../test/testkit/programmes.ts'
import { limit, specOf } from '../../../test/testkit/specs.ts'
import { defaultSettings, FIT_PARAMETERS, GAIN_STEP_DB, jointLoudnessRange, toHops } from '../../domain/index.ts'
import { chooseGains } from './choose-gains.ts'
import type { FitCorrection } from './decision.ts'
import { riddenEnergies } from './ridden-energies.ts'
import { spareRuns } from './spare-runs.ts'

const settings = defaultSettings(FIT_PARAMETERS)

function fitted(energies: Float64Array, rangeLu: number, correction: FitCorrection = {}) {
  const spec = specOf(-24, 0.5, { maxShortTermLkfs: limit(-18), maxLoudnessRangeLu: limit(rangeLu) })
  const decision = chooseGains(measuredOf(energies), spec, settings, correction)
  const { staticGainDb, rideDb } = decision.plan
  const gains = (rideDb ?? new Float64Array(Math.ceil(energies.length / 10))).map((gainDb) => gainDb + staticGainDb)
  return { decision, gains, range: jointLoudnessRange([toHops(riddenEnergies(energies, gains))]) as number }
}

// Definition: EBU Tech 3342. Soft scenes of 30 s at -36 and loud ones at -22 stand 14 LU apart.
const scenes = steps([30, -36], [30, -22], [30, -36], [30, -22], [30, -29])

describe('a line on the loudness range', () => {
  test.each([12, 8, 5])('of %d LU is met, with the total on target, and the ride told', (rangeLu) => {
    const { decision, range } = fitted(scenes, rangeLu)
    expect(decision.feasible).toBe(true)
    expect(range).toBeLessThanOrEqual(rangeLu)
    expect(range).toBeGreaterThan(rangeLu - 1.5)
    expect(decision.expected.anchorLkfs).toBeCloseTo(-24, 2)
    expect(decision.plan.rideDb?.every((gainDb) => Number.isInteger(gainDb / GAIN_STEP_DB))).toBe(true)
    expect(decision.findings.map(({ id }) => id)).toEqual(['range-ridden'])
  })

  test('that holds already moves nothing, and one that only warns never does', () => {
    expect(fitted(scenes, 15).decision.certificate).toBeNull()
    const warning = specOf(-24, 0.5, { maxLoudnessRangeLu: limit(5, 'warn') })
    expect(chooseGains(measuredOf(scenes), warning, settings).plan.rideDb).toBeNull()
  })

  test('leaves a short loud passage alone: the range does not look at the loudest 5 %', () => {
    const energies = steps([60, -30], [4, -26], [60, -30], [60, -40])
    const { decision, gains, range } = fitted(energies, 8)
    expect(range).toBeLessThanOrEqual(8)
    expect(Math.abs((gains[620] as number) - (gains[300] as number))).toBeLessThan(0.5)
    expect(decision.feasible).toBe(true)
  })

  test('leaves locked scenes alone, and says where the range stays too wide', () => {
    const locks = [
      { startSeconds: 0, endSeconds: 60, toleranceDb: 0 },
      { startSeconds: 60, endSeconds: 120, toleranceDb: 1 },
    ]
    const { decision, gains, range } = fitted(scenes, 6, { locks })
    expect(range).toBeGreaterThan(6)
    for (let hop = 5; hop < 595; hop++) expect(gains[hop]).toBe(decision.plan.staticGainDb)
    // What the search does not reach is no proof: the bytes of a render decide.
    expect(decision).toMatchObject({ feasible: false, isUnproved: true })
    const [finding] = decision.findings
    expect(finding).toMatchObject({ id: 'range-out-of-reach', severity: 'fail', line: 'loudnessRangeLu', allowed: 6 })
    expect(finding?.message).toMatch(/Loudest from .* softest from/)
  })

  test('is met on dramas of ten minutes', () => {
    for (const seed of [1, 2, 3]) {
      const { decision, range } = fitted(dramaEnergies(600, seed), 7)
      expect(decision.feasible).toBe(true)
      expect(range).toBeLessThanOrEqual(7)
      expect(decision.certificate?.movementDb).toBeLessThan(200)
    }
  })
})

// Lines of 1 to 4 s over silence: every home lets other lines through the gate of the total, so that a search which tells
// the scenes anew under each home runs after it and stays 0.8 LU outside.
test('dialogue over silence: levels are searched under the first home too', () => {
  // biome-ignore format: seconds of a line, its loudness, seconds of silence
  const lines = [
    [3, -25, 1], [3, -19, 3], [2, -25, 5], [4, -33, 4], [4, -28, 3], [4, -27, 4], [1, -32, 1], [3, -19, 4],
    [4, -28, 4], [3, -20, 2], [3, -30, 1], [3, -23, 4], [2, -20, 4], [4, -27, 1], [2, -33, 4],
  ] as const
  const energies = steps(
    ...lines.flatMap(([seconds, lkfs, pause]) => [[seconds, lkfs] as const, [pause, -75] as const]),
  )
  const lineLimits = { maxShortTermLkfs: limit(-18), maxMomentaryLkfs: limit(-14), maxLoudnessRangeLu: limit(9) }
  const { feasible, plan, expected } = chooseGains(measuredOf(energies), specOf(-24, 0.5, lineLimits), settings)
  expect(feasible).toBe(true)
  expect(expected.anchorLkfs).toBeCloseTo(-24, 2)
  const gains = (plan.rideDb as Float64Array).map((gainDb) => gainDb + plan.staticGainDb)
  expect(jointLoudnessRange([toHops(riddenEnergies(energies, gains))])).toBeLessThanOrEqual(9)
})

describe('quiet passages', () => {
  const energies = steps([40, -24], [20, -40], [40, -24], [20, -80], [40, -24])
  const decided = (quietLiftMostDb: number) =>
    chooseGains(measuredOf(energies), specOf(-24, 0.5), { ...settings, quietLiftMostDb, quietFloorLu: 12 })

  test('are lifted to the floor and no further than the mixer allows; silence is not', () => {
    const { plan } = decided(10)
    const ride = plan.rideDb as Float64Array
    // 16 LU below the target: 4 dB reach the floor of 12.
    expect(ride[500]).toBeCloseTo(4, 1)
    expect(decided(3).plan.rideDb?.[500]).toBeCloseTo(3, 2)
    expect(ride[1100]).toBe(0)
    expect(ride[200]).toBe(0)
  })

  test('stay as they are where the mixer does not ask', () => {
    expect(decided(0).plan.rideDb).toBeNull()
  })
})

test('runs that are deep and short are spared first, those that stand out of another run by themselves', () => {
  const excess = Float64Array.from([0, 3, 3, 0, 1, 1, 1, 1, -2, 9, 0])
  expect([...spareRuns(excess, 3)]).toEqual([0, 0, 0, 0, 1, 1, 1, 1, -2, 0, 0])
  expect([...spareRuns(excess, 0)]).toEqual([...excess])
  expect([...spareRuns(Float64Array.from([2, 2, 9, 9, 2, 2]), 2)]).toEqual([2, 2, 2, 2, 2, 2])
})
