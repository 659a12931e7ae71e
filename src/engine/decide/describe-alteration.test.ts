import { expect, test } from 'vitest'
import { dramaEnergies, measuredOf, steps } from '../../../test/testkit/programmes.ts'
import { type DeliverySpec, defaultSettings, FIT_PARAMETERS, type Limit } from '../../domain/index.ts'
import { chooseGains } from './choose-gains.ts'
import { describeAlteration } from './describe-alteration.ts'
import { riddenEnergies } from './ridden-energies.ts'

const source = { document: 'test', edition: '1', clause: '-', basis: 'user' } as const
const limit = (value: number): Limit => ({ value, severity: 'fail', source })
const settings = defaultSettings(FIT_PARAMETERS)
const spec: DeliverySpec = {
  id: 'test',
  title: 'Test spec',
  purpose: '-',
  edition: '1',
  anchor: 'programme',
  programmeLoudness: { targetLkfs: -24, toleranceBelowLu: 0.2, toleranceAboveLu: 0.2, source },
  notes: [],
}

test('a constant changes no shape: correlation 1, peak to loudness ratio kept, no ride', () => {
  const energies = dramaEnergies(120, 1)
  const measured = measuredOf(energies)
  const decision = chooseGains(measured, spec, settings)
  const after = measuredOf(riddenEnergies(energies, new Float64Array(1200).fill(decision.plan.staticGainDb)))
  const { total, ride, ceiling } = describeAlteration(decision, measured, after, { events: 2, deepestDb: -1.5 })
  expect(total.staticGainDb).toBe(decision.plan.staticGainDb)
  expect(total.shortTermCorrelation).toBeCloseTo(1, 9)
  expect(total.plrAfterLu).toBeCloseTo(total.plrBeforeLu as number, 6)
  expect(ride).toBeNull()
  expect(ceiling).toEqual({ events: 2, deepestDb: -1.5 })
})

test('the movement of a ride is the sum of its rises and falls, its area the reduction over time', () => {
  const measured = measuredOf(steps([60, -25], [6, -10], [60, -25]))
  const decision = chooseGains(measured, { ...spec, maxShortTermLkfs: limit(-18) }, settings)
  const ride = [...(decision.plan.rideDb as Float64Array)]
  const movement = ride.slice(1).reduce((sum, gainDb, k) => sum + Math.abs(gainDb - (ride[k] as number)), 0)
  const area = ride.reduce((sum, gainDb) => sum - gainDb / 10, 0)
  const alteration = describeAlteration(decision, measured, measured, null)
  expect(alteration.ride?.movementDb).toBeCloseTo(movement, 9)
  expect(alteration.ride?.areaUnderReductionDbSeconds).toBeCloseTo(area, 6)
  expect(alteration.ride?.largestMoveDb).toBeCloseTo(-Math.min(...ride), 12)
  expect(alteration.ride?.movingShare).toBeGreaterThan(0)
  expect(alteration.ride?.movingShare).toBeLessThan(0.2)
  expect(alteration.ride?.touching).toHaveLength(1)
})

test('what cannot be measured is null', () => {
  const silence = measuredOf(new Float64Array(500))
  const decision = chooseGains(silence, spec, settings)
  expect(describeAlteration(decision, silence, silence, null).total).toEqual({
    staticGainDb: 0,
    plrBeforeLu: null,
    plrAfterLu: null,
    shortTermCorrelation: null,
  })
})
