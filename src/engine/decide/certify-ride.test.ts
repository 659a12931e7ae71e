import { expect, test } from 'vitest'
import { measuredOf, steps } from '../../../test/testkit/programmes.ts'
import { limit, specOf } from '../../../test/testkit/specs.ts'
import { defaultSettings, FIT_PARAMETERS } from '../../domain/index.ts'
import { chooseGains } from './choose-gains.ts'

const spec = specOf(-24, 0.2, { maxShortTermLkfs: limit(-18) })

test('the movement of a ride is the sum of its rises and falls, its area the reduction over time', () => {
  const measured = measuredOf(steps([60, -25], [6, -10], [60, -25]))
  const { plan, certificate } = chooseGains(measured, spec, defaultSettings(FIT_PARAMETERS))
  const ride = [...(plan.rideDb as Float64Array)]
  const movement = ride.slice(1).reduce((sum, gainDb, k) => sum + Math.abs(gainDb - (ride[k] as number)), 0)
  const area = ride.reduce((sum, gainDb) => sum - gainDb / 10, 0)
  expect(certificate?.movementDb).toBeCloseTo(movement, 9)
  expect(certificate?.areaUnderReductionDbSeconds).toBeCloseTo(area, 6)
  expect(certificate?.largestMoveDb).toBeCloseTo(-Math.min(...ride), 12)
  expect(certificate?.movingShare).toBeGreaterThan(0)
  expect(certificate?.movingShare).toBeLessThan(0.2)
  expect(certificate?.touching).toHaveLength(1)
})
