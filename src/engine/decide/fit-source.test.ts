import { describe, expect, test } from 'vitest'
import { dramaEnergies, measuredOf } from '../../../test/testkit/programmes.ts'
import { readingUnder } from '../../../test/testkit/readings.ts'
import { limit, specOf } from '../../../test/testkit/specs.ts'
import { defaultSettings, FIT_PARAMETERS, trimPoints } from '../../domain/index.ts'
import { chooseGains } from './choose-gains.ts'

const settings = defaultSettings(FIT_PARAMETERS)
const SECONDS = 240
const energies = dramaEnergies(SECONDS, 7)
const measured = measuredOf(energies)
const FRAMES_PER_HOP = 4800

function trimmed(...trims: readonly [fromSeconds: number, toSeconds: number, gainDb: number][]): Float64Array {
  const placed = trims.map(([from, to, gainDb]) => ({
    startFrame: from * 48000,
    endFrame: to * 48000,
    gainDb,
    glideMs: 100,
    reason: null,
  }))
  return trimPoints(placed, SECONDS * 10, FRAMES_PER_HOP) as Float64Array
}

// The readings are written down from ITU-R BS.1770-5 and EBU Tech 3341 in the testkit, with no code of the fit in them.
describe('trims of the mixer', () => {
  const trimsDb = trimmed([30, 55, -6], [100, 130, 3])

  test('come first: the fit lands on target with them in place', () => {
    for (const lines of [{}, { maxShortTermLkfs: limit(-20) }]) {
      const { plan, feasible } = chooseGains(measured, specOf(-24, 0.2, lines), settings, { trimsDb })
      const reading = readingUnder(energies, plan)
      expect(feasible).toBe(true)
      expect(Math.abs((reading.totalLkfs as number) + 24)).toBeLessThan(0.005)
      expect(reading.maxShortTermLkfs as number).toBeLessThan(lines.maxShortTermLkfs?.value ?? 0)
    }
  })

  test('stand in the plan on top of a ride that is told without them', () => {
    const spec = specOf(-24, 0.2, { maxShortTermLkfs: limit(-20) })
    const { plan, certificate } = chooseGains(measured, spec, settings, { trimsDb })
    const ride = certificate?.rideDb as Float64Array
    expect(certificate?.movementDb).toBeGreaterThan(0)
    expect(Math.max(...ride)).toBe(0)
    expect(plan.rideDb).toEqual(ride.map((gainDb, hop) => gainDb + (trimsDb[hop] as number)))
  })

  test('where no line binds the plan moves by the trims alone', () => {
    const { plan, certificate } = chooseGains(measured, specOf(-24, 0.2), settings, { trimsDb })
    expect(certificate).toBeNull()
    expect(plan.rideDb).toEqual(trimsDb)
  })

  test('alone they are all that is applied, and the forecast is the reading', () => {
    const { plan, expected, feasible } = chooseGains(
      measured,
      specOf(-24, 0.2, { maxTruePeakDbtp: limit(-6) }),
      { ...settings, stages: 'trims' },
      { trimsDb },
    )
    expect(plan).toEqual({ staticGainDb: 0, rideDb: trimsDb, ceilingDbtp: null, programme: undefined })
    expect(feasible).toBe(true)
    expect(expected.anchorLkfs).toBeCloseTo(readingUnder(energies, plan).totalLkfs as number, 3)
  })
})

describe('a programme that is not all of the file', () => {
  // Loud tone on the first minute, programme in two acts, 30 ms off the grid of hops.
  const toneSeconds = 60
  const acts = [
    { startFrame: 60.03 * 48000, endFrame: 140.03 * 48000 },
    { startFrame: 150 * 48000, endFrame: SECONDS * 48000 },
  ]
  const withTone = energies.map((energy, i) => (i < toneSeconds * 100 ? 0.1 : energy))

  /** The gated total of both acts together, blocks counted from the beginning of each: BS.1770-5 Annex 1. */
  function jointTotal(gainDb: number): number {
    const blocks = acts.flatMap(({ startFrame, endFrame }) => {
      const part = withTone.subarray(Math.round(startFrame / 480), Math.round(endFrame / 480))
      const found: number[] = []
      for (let first = 0; first + 40 <= part.length; first += 10) {
        found.push(part.subarray(first, first + 40).reduce((sum, energy) => sum + energy, 0) / 40)
      }
      return found.map((energy) => energy * 10 ** (gainDb / 10))
    })
    const loudness = (kept: readonly number[]) =>
      -0.691 + 10 * Math.log10(kept.reduce((sum, energy) => sum + energy, 0) / kept.length)
    const audible = blocks.filter((energy) => loudness([energy]) > -70)
    return loudness(audible.filter((energy) => loudness([energy]) > loudness(audible) - 10))
  }

  test('is fitted as if the rest were not there', () => {
    const { plan } = chooseGains(measuredOf(withTone), specOf(-24, 0.2), settings, { programme: acts })
    expect(plan.rideDb).toBeNull()
    expect(Math.abs(jointTotal(plan.staticGainDb) + 24)).toBeLessThan(0.002)
    expect(plan.programme).toBe(acts)
    // With the tone in, another gain would have been chosen.
    const { plan: all } = chooseGains(measuredOf(withTone), specOf(-24, 0.2), settings)
    expect(Math.abs(all.staticGainDb - plan.staticGainDb)).toBeGreaterThan(3)
  })

  test('no line binds outside of it', () => {
    const spec = specOf(-24, 0.2, { maxShortTermLkfs: limit(-14) })
    const { plan, feasible } = chooseGains(measuredOf(withTone), spec, settings, { programme: acts })
    expect(feasible).toBe(true)
    expect(plan.rideDb?.subarray(0, toneSeconds * 10 - 50).every((gainDb) => gainDb === 0) ?? true).toBe(true)
  })
})
