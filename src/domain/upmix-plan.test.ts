import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { defaultSettings } from './parameters.ts'
import { UPMIX_PARAMETERS, type UpmixSettings } from './upmix-parameters.ts'
import {
  frontSpreadOf,
  frontSpreadOver,
  shareAt,
  soundingRange,
  steadyUpmix,
  stretchesWithin,
  type UpmixPlan,
  upmixStretches,
} from './upmix-plan.ts'

const BASE = defaultSettings(UPMIX_PARAMETERS)

function scene(startFrame: number, endFrame: number, settings: Partial<UpmixSettings>, glides = [0, 0]) {
  const [glideInFrames, glideOutFrames] = glides as [number, number]
  return { startFrame, endFrame, name: null, settings: { ...BASE, ...settings }, glideInFrames, glideOutFrames }
}

/** What the shares of all stretches make of one number of the settings. */
function valueAt(plan: UpmixPlan, name: 'centreShare' | 'frontSpread', frame: number): number {
  return upmixStretches(plan).reduce((sum, stretch) => sum + shareAt(stretch, frame) * stretch.settings[name], 0)
}

const somePlan = fc
  .array(
    fc.record({
      gap: fc.constantFrom(0, 0, 1, 7, 480, 48000),
      length: fc.integer({ min: 1, max: 60000 }),
      centreShare: fc.constantFrom(0, 0.3, 1),
      glideIn: fc.integer({ min: 0, max: 96000 }),
      glideOut: fc.integer({ min: 0, max: 96000 }),
    }),
    { maxLength: 6 },
  )
  .map((entries): UpmixPlan => {
    let at = 0
    const scenes = entries.map(({ gap, length, centreShare, glideIn, glideOut }) => {
      const startFrame = at + gap
      at = startFrame + length
      return scene(startFrame, at, { centreShare }, [glideIn, glideOut])
    })
    return { settings: BASE, scenes }
  })

describe('the upmix along a programme', () => {
  it('without scenes is one stretch without an end', () => {
    const [only, ...others] = upmixStretches(steadyUpmix(BASE))
    expect(others).toEqual([])
    expect(only).toMatchObject({ startFrame: Number.NEGATIVE_INFINITY, endFrame: Number.POSITIVE_INFINITY })
    expect(shareAt(only!, 0)).toBe(1)
  })

  it('in the middle of a scene its settings hold, far from it those of the programme, half way on the border', () => {
    const plan = { settings: BASE, scenes: [scene(48000, 96000, { centreShare: 0.2 }, [480, 4800])] }
    const at = (frame: number) => valueAt(plan, 'centreShare', frame)
    expect([at(0), at(47000), at(72000), at(98400), at(200000)]).toEqual([1, 1, 0.2, 1, 1])
    expect((at(47999) + at(48000)) / 2).toBeCloseTo(0.6, 12)
    expect((at(95999) + at(96000)) / 2).toBeCloseTo(0.6, 12)
    expect(at(47761)).toBeLessThan(1)
    expect(at(47759)).toBe(1)
    expect(at(98399)).toBeLessThan(1)
  })

  it('a scene from the first frame begins with it, and does not glide in', () => {
    const plan = { settings: BASE, scenes: [scene(0, 9600, { centreShare: 0.2 }, [4800, 480])] }
    expect(upmixStretches(plan)).toHaveLength(2)
    expect(valueAt(plan, 'centreShare', 0)).toBe(0.2)
  })

  it('neighbours with the same settings are one stretch', () => {
    const scenes = [scene(10, 20, { centreShare: 0.5 }), scene(20, 30, { centreShare: 0.5 }), scene(40, 50, {})]
    expect(upmixStretches({ settings: BASE, scenes }).map(({ startFrame }) => startFrame)).toEqual([
      Number.NEGATIVE_INFINITY,
      10,
      30,
    ])
  })

  it('of two glides at one border the longer holds, shortened to what lies beside it', () => {
    const scenes = [
      scene(1000, 2000, { centreShare: 0.5 }, [0, 100]),
      scene(2000, 9000, { centreShare: 0 }, [400, 5000]),
      scene(9600, 9700, { centreShare: 0.5 }, [5000, 5000]),
    ]
    expect(upmixStretches({ settings: BASE, scenes }).map(({ glideOutFrames }) => glideOutFrames)).toEqual([
      0, 400, 600, 100, 100, 0,
    ])
  })

  it('shares make 1 at every frame, and never more than two stretches sound together', () => {
    fc.assert(
      fc.property(
        somePlan,
        fc.array(fc.integer({ min: 0, max: 700000 }), { minLength: 20, maxLength: 20 }),
        (plan, at) => {
          const stretches = upmixStretches(plan)
          const borders = stretches.flatMap(({ startFrame }) => (startFrame > 0 ? [startFrame - 1, startFrame] : []))
          for (const frame of [...at, ...borders]) {
            const shares = stretches.map((stretch) => shareAt(stretch, frame))
            expect(shares.reduce((a, b) => a + b, 0)).toBeCloseTo(1, 12)
            expect(shares.filter((share) => share > 0).length).toBeLessThanOrEqual(2)
            const sounding = stretchesWithin(stretches, { startFrame: frame, endFrame: frame + 1 })
            expect(stretches.filter((_, index) => shares[index]! > 0).every((one) => sounding.includes(one))).toBe(true)
          }
          for (const stretch of stretches) {
            const { startFrame, endFrame } = soundingRange(stretch)
            if (startFrame > 0) expect(shareAt(stretch, startFrame - 1)).toBe(0)
            if (endFrame < 1e9) expect(shareAt(stretch, endFrame)).toBe(0)
          }
        },
      ),
    )
  })
})

describe('the spread of the fronts', () => {
  it('is one number where the scenes leave it alone', () => {
    const scenes = [scene(0, 100, { centreShare: 0, frontSpread: 1.2 })]
    expect(frontSpreadOf({ settings: { ...BASE, frontSpread: 1.2 }, scenes })).toBe(1.2)
  })

  it('glides with the same envelope as the signals', () => {
    const plan = { settings: BASE, scenes: [scene(1000, 3000, { frontSpread: 1.4 }, [200, 400])] }
    const spread = frontSpreadOf(plan)
    expect(frontSpreadOver(spread, 0, 800)).toBe(1)
    expect(frontSpreadOver(spread, 1200, 1500)).toBe(1.4)
    const values = frontSpreadOver(spread, 800, 3000) as Float64Array
    expect(values.every((value, i) => Math.abs(value - valueAt(plan, 'frontSpread', 800 + i)) < 1e-12)).toBe(true)
    expect((values[199]! + values[200]!) / 2).toBeCloseTo(1.2, 12)
  })
})
