import fc from 'fast-check'
import { describe, expect, test } from 'vitest'
import { dramaEnergies, energyOf, measuredOf, seededRandom, steps } from '../../../test/testkit/programmes.ts'
import { readingUnder } from '../../../test/testkit/readings.ts'
import { limit, specOf } from '../../../test/testkit/specs.ts'
import { defaultSettings, FIT_PARAMETERS, GAIN_STEP_DB } from '../../domain/index.ts'
import { chooseGains } from './choose-gains.ts'
import type { Decision } from './decision.ts'

const settings = defaultSettings(FIT_PARAMETERS)

// The lines of the measured comparison on drama: total -24, short-term -18, momentary -14.
const FULL = specOf(-24, 0.2, {
  maxShortTermLkfs: limit(-18),
  maxMomentaryLkfs: limit(-14),
  maxTruePeakDbtp: limit(-2),
})

function expectGridded(decision: Decision) {
  const { staticGainDb, rideDb } = decision.plan
  expect(Number.isInteger(staticGainDb / GAIN_STEP_DB)).toBe(true)
  expect(rideDb?.every((gainDb) => Number.isInteger(gainDb / GAIN_STEP_DB)) ?? true).toBe(true)
}

describe('static gain', () => {
  // A constant gain of g dB moves loudness by g LU: ITU-R BS.1770-5 Annex 1, where no block crosses a gate.
  test('lands a steady programme on the target with no ride', () => {
    const { plan, expected, certificate, findings, feasible } = chooseGains(
      measuredOf(steps([20, -30.4])),
      FULL,
      settings,
    )
    expect(plan.staticGainDb).toBeCloseTo(6.4, 3)
    expect(plan.rideDb).toBeNull()
    expect(certificate).toBeNull()
    expect(plan.ceilingDbtp).toBeCloseTo(-2.1, 12)
    expect(expected.anchorLkfs).toBeCloseTo(-24, 3)
    expect(findings).toEqual([])
    expect(feasible).toBe(true)
  })

  test('is exactly 0 where the target is met and every line holds, however narrowly', () => {
    const loudest = steps([60, -24.002], [3, -18.0006], [60, -24.002])
    const spec = specOf(readingUnder(loudest, null).totalLkfs as number, 0.2, { maxShortTermLkfs: limit(-18) })
    const { plan } = chooseGains(measuredOf(loudest), spec, settings)
    expect(plan.staticGainDb).toBe(0)
    expect(plan.rideDb).toBeNull()
  })

  test('raises a quiet programme by 20 dB although its room tone then passes the absolute gate', () => {
    const energies = steps([60, -44], [30, -75], [60, -43], [30, -88])
    const { plan, expected, feasible } = chooseGains(measuredOf(energies), FULL, settings)
    expect(plan.staticGainDb).toBeGreaterThan(19)
    expect(readingUnder(energies, plan).totalLkfs).toBeCloseTo(-24, 2)
    expect(expected.anchorLkfs).toBeCloseTo(-24, 2)
    expect(feasible).toBe(true)
  })

  test('refuses more than 40 dB', () => {
    const { feasible, findings, plan } = chooseGains(measuredOf(steps([20, -66])), FULL, settings)
    expect(feasible).toBe(false)
    expect(plan.staticGainDb).toBe(40)
    expect(findings[0]).toMatchObject({ id: 'target-out-of-reach', severity: 'fail' })
    expect(findings[0]?.message).toContain('40 dB')
  })

  test('has its ceiling just below full scale where the spec has no true-peak line, or one above: nothing may clip', () => {
    for (const lines of [{}, { maxTruePeakDbtp: limit(2) }]) {
      expect(chooseGains(measuredOf(steps([20, -30])), specOf(-24, 1, lines), settings).plan.ceilingDbtp).toBe(-0.01)
    }
  })
})

describe('ride', () => {
  test('brings a drama inside every line, read by the definitions', () => {
    for (const seed of [1, 2, 3]) {
      const energies = dramaEnergies(600, seed)
      const decision = chooseGains(measuredOf(energies), FULL, settings)
      const reading = readingUnder(energies, decision.plan)
      expect(decision.feasible).toBe(true)
      expect(Math.abs((reading.totalLkfs as number) + 24)).toBeLessThan(0.002)
      expect(reading.maxShortTermLkfs).toBeLessThanOrEqual(-18)
      expect(reading.maxMomentaryLkfs).toBeLessThanOrEqual(-14)
      expect(decision.expected.anchorLkfs).toBeCloseTo(reading.totalLkfs as number, 6)
      expect(decision.expected.maxShortTermLkfs).toBeCloseTo(reading.maxShortTermLkfs as number, 6)
      expect(decision.expected.maxMomentaryLkfs).toBeCloseTo(reading.maxMomentaryLkfs as number, 6)
      expectGridded(decision)
    }
  })

  test('moves only within reach of what forces it, never above home, never faster than the slew', () => {
    // One shout of 6 s, 8 LU above the line, a minute into a steady programme.
    const energies = steps([60, -25], [6, -10], [60, -25])
    const { plan, certificate } = chooseGains(measuredOf(energies), specOf(-24, 2, { maxShortTermLkfs: limit(-18) }), {
      ...settings,
      rideReachSeconds: 2,
      rideSlewDbPerSecond: 20,
    })
    const ride = plan.rideDb as Float64Array
    expect(ride).toHaveLength(1260)
    expect(Math.max(...ride)).toBe(0)
    // The first window with any of the shout ends at 60 s; its first hop is touched from 57 s on.
    expect(ride.subarray(0, 10 * (57 - 2) - 2).every((gainDb) => gainDb === 0)).toBe(true)
    expect(ride.subarray(10 * (69 + 2) + 2).every((gainDb) => gainDb === 0)).toBe(true)
    expect(certificate?.largestSlewDbPerSecond).toBeLessThanOrEqual(20)
    expect(certificate?.touching).toHaveLength(1)
    expect(certificate?.touching[0]).toMatchObject({ line: 'maxShortTermLkfs', signal: 'programme' })
    expect(certificate?.touching[0]?.startSeconds).toBeLessThan(60)
    expect(certificate?.touching[0]?.endSeconds).toBeGreaterThan(66)
    // Down once and up once: the movement is twice the depth.
    expect(certificate?.movementDb).toBeCloseTo(2 * (certificate?.largestMoveDb as number), 9)
    expect(certificate?.statement).toContain('No ride inside this corridor moves less')
  })

  test('a momentary line alone forces the ride at a hit', () => {
    const energies = steps([30, -25], [0.5, -9], [30, -25])
    const { plan, certificate } = chooseGains(
      measuredOf(energies),
      specOf(-24, 2, { maxMomentaryLkfs: limit(-13) }),
      settings,
    )
    expect(certificate?.touching.map(({ line }) => line)).toEqual(['maxMomentaryLkfs'])
    expect(readingUnder(energies, plan).maxMomentaryLkfs).toBeLessThanOrEqual(-13)
  })

  test('the fold-down binds where it is the louder of the two', () => {
    const programme = steps([60, -25], [6, -17], [60, -25])
    const foldDown = steps([60, -25], [6, -13], [60, -25])
    const { plan, certificate, expected } = chooseGains(
      measuredOf(programme, foldDown),
      specOf(-24, 2, { maxShortTermLkfs: limit(-18) }),
      settings,
    )
    expect(certificate?.touching.map(({ signal }) => signal)).toEqual(['foldDown'])
    expect(readingUnder(foldDown, plan).maxShortTermLkfs).toBeLessThanOrEqual(-18)
    expect(expected.foldDown?.maxShortTermLkfs).toBeCloseTo(readingUnder(foldDown, plan).maxShortTermLkfs as number, 6)
  })

  test('a line that only warns moves nothing', () => {
    const { plan } = chooseGains(
      measuredOf(steps([60, -25], [6, -10], [60, -25])),
      specOf(-24, 2, { maxShortTermLkfs: limit(-18, 'warn') }),
      settings,
    )
    expect(plan.rideDb).toBeNull()
  })

  test('a lock holds the ride off, and a lock that meets a line is named', () => {
    const energies = steps([60, -25], [6, -12], [60, -25])
    const spec = specOf(-24, 0.2, { maxShortTermLkfs: limit(-18) })
    const locks = [{ startSeconds: 40, endSeconds: 56, toleranceDb: 0 }]
    const { plan, feasible } = chooseGains(measuredOf(energies), spec, settings, { locks })
    expect(feasible).toBe(true)
    expect(plan.rideDb?.subarray(400, 560).every((gainDb) => gainDb === 0)).toBe(true)

    const meeting = [{ startSeconds: 61, endSeconds: 64, toleranceDb: 1 }]
    const refused = chooseGains(measuredOf(energies), spec, settings, { locks: meeting })
    expect(refused.feasible).toBe(false)
    expect(refused.findings[0]).toMatchObject({ id: 'target-out-of-reach', severity: 'fail' })
    expect(refused.findings[0]?.at?.startSeconds).toBeGreaterThanOrEqual(60)
    expect(refused.findings[0]?.at?.startSeconds).toBeLessThanOrEqual(64)
    expect(refused.findings[0]?.message).toContain('lock')
  })

  test('every decision on a random programme is legal, or says why not', () => {
    const programmes = fc.record({
      seed: fc.integer({ min: 1, max: 1e6 }),
      seconds: fc.integer({ min: 1, max: 60 }),
      shortTerm: fc.integer({ min: -24, max: -14 }),
      momentary: fc.integer({ min: -22, max: -10 }),
      reach: fc.double({ min: 0.2, max: 20, noNaN: true }),
      slew: fc.double({ min: 0.1, max: 20, noNaN: true }),
    })
    fc.assert(
      fc.property(programmes, ({ seed, seconds, shortTerm, momentary, reach, slew }) => {
        const energies = dramaEnergies(seconds, seed)
        const spec = specOf(-24, 0.2, { maxShortTermLkfs: limit(shortTerm), maxMomentaryLkfs: limit(momentary) })
        const decision = chooseGains(measuredOf(energies), spec, {
          ...settings,
          rideReachSeconds: reach,
          rideSlewDbPerSecond: slew,
        })
        const reading = readingUnder(energies, decision.plan)
        expectGridded(decision)
        if (reading.totalLkfs === null) return
        expect(reading.maxShortTermLkfs ?? -99).toBeLessThanOrEqual(shortTerm)
        expect(reading.maxMomentaryLkfs ?? -99).toBeLessThanOrEqual(momentary)
        expect(decision.certificate?.largestSlewDbPerSecond ?? 0).toBeLessThanOrEqual(
          Math.max(slew, settings.rideAttackSlewDbPerSecond) + GAIN_STEP_DB * 10,
        )
        if (decision.findings.length === 0) expect(Math.abs(reading.totalLkfs + 24)).toBeLessThanOrEqual(0.021)
        if (decision.feasible) expect(Math.abs(reading.totalLkfs + 24)).toBeLessThanOrEqual(0.2 + 1e-9)
        else expect(decision.findings.some(({ severity }) => severity === 'fail')).toBe(true)
      }),
      { numRuns: 150 },
    )
  })
})

describe('what cannot be done', () => {
  test('a short-term line below the target stops the total, and is named with its place', () => {
    const energies = steps([30, -26], [20, -21], [30, -26])
    const { feasible, findings, expected } = chooseGains(
      measuredOf(energies),
      specOf(-24, 0.2, { maxShortTermLkfs: limit(-25) }),
      settings,
    )
    expect(feasible).toBe(false)
    expect(findings).toHaveLength(1)
    expect(findings[0]).toMatchObject({ id: 'target-out-of-reach', severity: 'fail', allowed: [-24.2, -23.8] })
    expect(findings[0]?.measured).toBeLessThan(-25)
    expect(findings[0]?.message).toContain('short-term line')
    expect(findings[0]?.at?.startSeconds).toBeGreaterThan(25)
    expect(findings[0]?.at?.endSeconds).toBeLessThan(55)
    expect(expected.maxShortTermLkfs).toBeLessThanOrEqual(-25)
  })

  test('where only the tolerance can be reached, the least movement inside of it is taken, with a warning', () => {
    const energies = steps([30, -26], [20, -21], [30, -26])
    const { feasible, findings, plan } = chooseGains(
      measuredOf(energies),
      specOf(-24, 2, { maxShortTermLkfs: limit(-24.5) }),
      settings,
    )
    const reading = readingUnder(energies, plan)
    expect(feasible).toBe(true)
    expect(findings).toEqual([expect.objectContaining({ id: 'target-out-of-reach', severity: 'warn' })])
    expect(reading.totalLkfs).toBeGreaterThanOrEqual(-26)
    expect(reading.totalLkfs).toBeLessThan(-25.8)
    expect(reading.maxShortTermLkfs).toBeLessThanOrEqual(-24.5)
  })

  test('where only a shorter reach of the ride meets every line, it is taken and told', () => {
    // Loud for 4 s in every 10: a ride that reaches 4 s never comes back to its static gain.
    const energies = steps(
      ...Array.from({ length: 12 }, (_, n) => [n % 2 === 0 ? 6 : 4, n % 2 === 0 ? -26 : -21] as const),
    )
    const spec = specOf(-24, 0.2, { maxMomentaryLkfs: limit(-23.4) })
    const { feasible, findings, plan, certificate } = chooseGains(measuredOf(energies), spec, settings)
    const reading = readingUnder(energies, plan)
    expect(feasible).toBe(true)
    expect(findings.map(({ id }) => id)).toContain('shorter-reach')
    expect(certificate?.statement).not.toContain('a reach of 4 s')
    expect(reading.totalLkfs).toBeGreaterThanOrEqual(-24.2)
    expect(reading.maxMomentaryLkfs).toBeLessThanOrEqual(-23.4)
  })

  // Gate of BS.1770-5: half at -24, half at -36.85. Lifting the soft half by 0.08 dB brings it above the relative
  // gate (mean of both halves - 10 LU = -36.79) and moves the total from -24.00 to -26.79.
  test('a leap at the gate is told, and the legal side is taken', () => {
    const energies = steps([60, -24], [60, -36.85])
    expect(readingUnder(energies, null).totalLkfs).toBeCloseTo(-24, 1)
    expect(readingUnder(steps([60, -24], [60, -36.77]), null).totalLkfs).toBeCloseTo(-26.79, 1)
    const { feasible, findings, plan } = chooseGains(
      measuredOf(energies),
      specOf(-23.9, 0.2, { maxShortTermLkfs: limit(-23.99) }),
      settings,
    )
    const reading = readingUnder(energies, plan)
    expect(feasible).toBe(true)
    expect(reading.totalLkfs).toBeGreaterThan(-24.1)
    expect(findings).toEqual([expect.objectContaining({ id: 'gate-leap', severity: 'note' })])
    expect(findings[0]?.at?.startSeconds).toBeGreaterThan(58)
    expect(findings[0]?.message).toMatch(/leaps from −2[34]\.\d\d to −26\.\d\d/)
    expect(Math.max(plan.staticGainDb, 0)).toBeLessThan(0.1)
  })

  test('silence, and less than one gating block, have no target', () => {
    for (const energies of [new Float64Array(6000), steps([30, -80]), steps([0.39, -20]), steps([0.1, -20])]) {
      const { feasible, findings, plan, expected } = chooseGains(measuredOf(energies), FULL, settings)
      expect(feasible).toBe(false)
      expect(plan.staticGainDb).toBe(0)
      expect(plan.rideDb).toBeNull()
      expect(expected.anchorLkfs).toBeNull()
      expect(findings).toEqual([expect.objectContaining({ id: 'nothing-to-fit', severity: 'fail', measured: null })])
    }
  })

  test('short programmes: the windows that exist are judged', () => {
    // 2 s: no short-term window exists, so only the momentary line can bind.
    const { plan, expected, feasible } = chooseGains(measuredOf(steps([2, -30])), FULL, settings)
    expect(plan.staticGainDb).toBeCloseTo(6, 3)
    expect(expected.maxShortTermLkfs).toBeNull()
    expect(expected.maxMomentaryLkfs).toBeCloseTo(-24, 3)
    expect(feasible).toBe(true)
    // 3 s: the one short-term window bounds every hop alike, so the static gain stays lower and nothing rides.
    const bound = chooseGains(measuredOf(steps([3, -30])), specOf(-24, 2, { maxShortTermLkfs: limit(-25) }), settings)
    expect(bound.plan.rideDb).toBeNull()
    expect(bound.plan.staticGainDb).toBeLessThanOrEqual(5)
    expect(bound.feasible).toBe(true)
  })
})

describe('anchor', () => {
  const random = seededRandom(5)
  const programme = dramaEnergies(120, 5)
  const foldDown = programme.map((energy) => energy * 10 ** (0.06 + 0.02 * random()))
  const spec = specOf(-24, 2)

  test('"5.1" lands the 5.1; "balanced" splits the offset; a stereo gain of its own lands both', () => {
    const offsetLu =
      (readingUnder(foldDown, null).totalLkfs as number) - (readingUnder(programme, null).totalLkfs as number)
    const measured = measuredOf(programme, foldDown)
    const anchored = chooseGains(measured, spec, settings).expected
    expect(anchored.anchorLkfs).toBeCloseTo(-24, 2)
    expect(anchored.foldDown?.anchorLkfs).toBeCloseTo(-24 + offsetLu, 2)
    const balanced = chooseGains(measured, spec, { ...settings, anchor: 'balanced' }).expected
    expect(balanced.anchorLkfs).toBeCloseTo(-24 - offsetLu / 2, 2)
    expect(balanced.foldDown?.anchorLkfs).toBeCloseTo(-24 + offsetLu / 2, 2)
    const own = chooseGains(measured, spec, { ...settings, stereoGain: 'own' })
    expect(own.stereoGainDb).toBeCloseTo(-offsetLu, 3)
    expect(own.expected.anchorLkfs).toBeCloseTo(-24, 2)
    expect(own.expected.foldDown?.anchorLkfs).toBeCloseTo(-24, 2)
  })
})

test('what the forecast ceiling takes is given back by the static gain', () => {
  const energies = steps([20, -26], [20, -20])
  const lossDb = Float64Array.from({ length: 400 }, (_, hop) => (hop >= 200 ? -2 : 0))
  const { plan } = chooseGains(measuredOf(energies), specOf(-24, 1), settings, { ceilingLossDb: lossDb })
  const after = energies.map((energy, i) => energy * (i >= 2000 ? 10 ** -0.2 : 1))
  expect(readingUnder(after, plan).totalLkfs).toBeCloseTo(-24, 2)
})

test('the same numbers give the same plan, bit for bit', () => {
  const measured = measuredOf(dramaEnergies(120, 9))
  const [one, two] = [chooseGains(measured, FULL, settings), chooseGains(measured, FULL, settings)]
  expect(two.plan.staticGainDb).toBe(one.plan.staticGainDb)
  expect(two.plan.rideDb).toEqual(one.plan.rideDb)
  expect(energyOf(-0.691)).toBe(1)
})
