import { expect, test } from 'vitest'
import { measuredOf, steps } from '../../../test/testkit/programmes.ts'
import { specOf } from '../../../test/testkit/specs.ts'
import { dbToPower, defaultSettings, FIT_PARAMETERS, type Measured } from '../../domain/index.ts'
import { chooseGains } from './choose-gains.ts'
import { fitSource } from './fit-source.ts'
import { settleStereoGain } from './stereo-gain.ts'

const settings = defaultSettings(FIT_PARAMETERS)

/** A level programme whose fold-down reads this much above it. */
function programmeWith(offsetLu: number): Measured {
  const measured = measuredOf(steps([60, -20]))
  return { ...measured, foldDown10ms: measured.programme10ms.map((power) => power * dbToPower(offsetLu)) }
}

// Tolerances: EBU R 128 0.2 LU, ARIB TR-B32 1 LU, ATSC A/85 2 LU.
test.each([
  { offsetLu: 0.6, toleranceLu: 2, gain: 'linked' },
  { offsetLu: 0.6, toleranceLu: 1, gain: 'linked' },
  { offsetLu: 0.6, toleranceLu: 0.2, gain: 'own' },
  { offsetLu: 1.2, toleranceLu: 1, gain: 'own' },
  { offsetLu: -1.2, toleranceLu: 1, gain: 'own' },
  { offsetLu: 0.1, toleranceLu: 0.2, gain: 'linked' },
])('an offset of $offsetLu LU under a tolerance of $toleranceLu LU: $gain', ({ offsetLu, toleranceLu, gain }) => {
  expect(settleStereoGain(fitSource(programmeWith(offsetLu), {}), specOf(-23, toleranceLu), settings).stereoGain).toBe(
    gain,
  )
})

test('balanced, each file takes half of the offset', () => {
  const balanced = { ...settings, anchor: 'balanced' } as const
  expect(settleStereoGain(fitSource(programmeWith(1.6), {}), specOf(-23, 1), balanced).stereoGain).toBe('linked')
  expect(settleStereoGain(fitSource(programmeWith(2.4), {}), specOf(-23, 1), balanced).stereoGain).toBe('own')
})

test('what the mixer says outranks the tolerance', () => {
  for (const stereoGain of ['linked', 'own'] as const) {
    expect(
      settleStereoGain(fitSource(programmeWith(0.6), {}), specOf(-23, 0.2), { ...settings, stereoGain }).stereoGain,
    ).toBe(stereoGain)
  }
})

test('a gain of its own puts the stereo on the target too', () => {
  const { expected, stereoGainDb } = chooseGains(programmeWith(0.6), specOf(-23, 0.2), settings)
  expect(stereoGainDb).toBeCloseTo(-0.6, 3)
  expect(expected.anchorLkfs).toBeCloseTo(-23, 2)
  expect(expected.foldDown?.anchorLkfs).toBeCloseTo(-23, 2)
})
