import { expect, test } from 'vitest'
import { dramaEnergies, measuredOf } from '../../../test/testkit/programmes.ts'
import { readingUnder } from '../../../test/testkit/readings.ts'
import { limit, specOf } from '../../../test/testkit/specs.ts'
import { defaultSettings, describeMeasured, FIT_PARAMETERS, type GainPlan } from '../../domain/index.ts'
import { chooseGains } from './choose-gains.ts'
import { type Render, refineGains } from './refine-gains.ts'
import { riddenEnergies } from './ridden-energies.ts'

const settings = defaultSettings(FIT_PARAMETERS)
const spec = specOf(-24, 0.2, { maxShortTermLkfs: limit(-18), maxTruePeakDbtp: limit(-2) })

/** A render whose ceiling works hard: hops above -20 LKFS lose two thirds of what they are above it. */
function renderHard(energies: Float64Array, plan: GainPlan): Float64Array {
  const cap = 10 ** ((-20 + 0.691) / 10)
  return energies.map((energy, i) => {
    const gainDb = plan.staticGainDb + (plan.rideDb?.[Math.floor(i / 10)] ?? 0)
    const gained = energy * 10 ** (gainDb / 10)
    return gained > cap ? cap * (gained / cap) ** (1 / 3) : gained
  })
}

// A ceiling that does level work makes the first reading miss its forecast by some tenths of a LU.
test('a secant across renders lands within 0.02 LU in three although the ceiling was not forecast at all', () => {
  for (const seed of [1, 2, 3]) {
    const energies = dramaEnergies(300, seed)
    const measured = measuredOf(energies)
    const renders: Render[] = []
    const misses: number[] = []
    let decision = chooseGains(measured, spec, settings)
    for (let pass = 0; pass < 3; pass++) {
      const rendered = measuredOf(renderHard(energies, decision.plan))
      misses.push(Math.abs((readingUnder(rendered.programme10ms, null).totalLkfs as number) + 24))
      renders.push({ decision, measurements: describeMeasured(rendered) })
      decision = refineGains(measured, spec, settings, renders)
    }
    expect(misses[0]).toBeGreaterThan(0.3)
    expect(misses[1]).toBeLessThan(misses[0] as number)
    expect(misses[2]).toBeLessThan(0.02)
  }
})

test('a line that a render passed by a hair is held lower by that much', () => {
  const energies = dramaEnergies(300, 5)
  const measured = measuredOf(energies)
  const asked = { ...spec, maxShortTermLkfs: limit(-20.5) }
  const decision = chooseGains(measured, asked, settings)
  const { staticGainDb, rideDb } = decision.plan
  // The written file reads 0.03 LU more than forecast.
  const gainsDb = (rideDb as Float64Array).map((gainDb) => gainDb + staticGainDb + 0.03)
  const rendered = measuredOf(riddenEnergies(energies, gainsDb))
  const excess = (readingUnder(rendered.programme10ms, null).maxShortTermLkfs as number) + 20.5
  expect(excess).toBeGreaterThan(0)
  const refined = refineGains(measured, asked, settings, [{ decision, measurements: describeMeasured(rendered) }])
  expect(refined.expected.maxShortTermLkfs as number).toBeLessThanOrEqual(-20.5 - 0.01 - excess)
})

test('a true peak over the line lowers the ceiling by the excess', () => {
  const measured = measuredOf(dramaEnergies(60, 3))
  const decision = chooseGains(measured, spec, settings)
  const peak = { value: 10 ** (-1.9 / 20), frameIndex: 0 }
  const rendered = { ...measured, channels: measured.channels.map(() => ({ samplePeak: peak, truePeak: peak })) }
  const refined = refineGains(measured, spec, settings, [{ decision, measurements: describeMeasured(rendered) }])
  expect(refined.plan.ceilingDbtp).toBeCloseTo(-2.1 - 0.1 - 0.003, 9)
})
