import { expect, test } from 'vitest'
import { BANDS, defaultSettings, FIT_PARAMETERS, type FitSettings } from '../../domain/index.ts'
import { planBands } from './bands.ts'

const HOPS = 200

/** Two channels that carry half of each band's power; `levelDb` tells the level of a band on a hop. */
function levels(levelDb: (band: number, hop: number) => number) {
  const squares = Float64Array.from({ length: HOPS * 8 }, (_, at) => {
    return 0.5 * 10 ** (levelDb(at % 4, Math.floor(at / 8)) / 10)
  })
  return { squares, channelCount: 2, sampleRateHz: 48000 }
}

const settings = (wishes: Partial<FitSettings>): FitSettings => ({
  ...defaultSettings(FIT_PARAMETERS),
  bands: 'manual',
  ...wishes,
})

/** A second of -10 dBFS in the high-mid band from hop 100 on, -30 dBFS else. */
const burst = levels((band, hop) => (band === 2 && hop >= 100 && hop < 110 ? -10 : -30))

test('threshold and ratio: what lies above the threshold by n dB leaves n / ratio (the static curve of a compressor)', () => {
  const plan = planBands(burst, settings({ bandsHighMidThresholdDbfs: -22, bandsHighMidRatio: 4 }))
  expect(plan?.crossoversHz).toEqual([120, 800, 5000])
  expect(plan?.gainsDb.map((gainDb) => gainDb === null)).toEqual([true, true, false, true])
  // 12 dB over at 4:1 leave 3: a gain of -9 dB, in steps of 2^-12 dB.
  expect(plan?.gainsDb[2]?.[104]).toBeCloseTo(-9, 3)
})

test('attack and release are times for 10 dB, and the band is down when the sound comes', () => {
  const dials = { bandsHighMidThresholdDbfs: -22, bandsHighMidRatio: 20 } as const
  const plan = planBands(burst, settings({ ...dials, bandsHighMidAttackSeconds: 0.5, bandsHighMidReleaseSeconds: 2 }))
  const gainDb = plan?.gainsDb[2] as Float64Array
  const depth = gainDb[100]!
  expect(depth).toBeCloseTo(-12 * 0.95, 2)
  // 10 dB in 0.5 s are 2 dB each 100 ms; in 2 s they are 0.5 dB.
  expect(gainDb[98]! - depth).toBeCloseTo(4, 2)
  expect(gainDb[113]! - depth).toBeCloseTo(2, 2)
  expect([gainDb[93], gainDb[135]]).toEqual([0, 0])
})

test('below every threshold nothing is planned, nor at a ratio of 1, nor when it is off, nor for trims alone', () => {
  expect(planBands(burst, settings({}))).toBeNull()
  expect(planBands(burst, settings({ bandsHighMidThresholdDbfs: -9 }))).toBeNull()
  const low = { bandsHighMidThresholdDbfs: -40 } as const
  expect(planBands(burst, settings({ ...low, bandsHighMidRatio: 1 }))).toBeNull()
  expect(planBands(burst, settings({ ...low, bands: 'off' }))).toBeNull()
  expect(planBands(burst, settings({ ...low, stages: 'trims' }))).toBeNull()
  expect(planBands(burst, settings(low))).not.toBeNull()
})

test('outside of the programme nothing is planned', () => {
  const programme = [{ startFrame: 0, endFrame: 104 * 4800 }]
  const plan = planBands({ ...burst, programme }, settings({ bandsHighMidThresholdDbfs: -22 }))
  const gainDb = plan?.gainsDb[2] as Float64Array
  expect(gainDb[103]).toBeLessThan(-5)
  expect(gainDb.subarray(104).every((db) => db === 0)).toBe(true)
})

test('every band has its four controls', () => {
  for (const { id } of BANDS) {
    for (const control of ['ThresholdDbfs', 'Ratio', 'AttackSeconds', 'ReleaseSeconds']) {
      expect(FIT_PARAMETERS).toHaveProperty(`bands${id}${control}`)
    }
  }
})
