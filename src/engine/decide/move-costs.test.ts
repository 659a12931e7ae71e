import { describe, expect, test } from 'vitest'
import { energyOf, measuredOf, seededRandom, steps } from '../../../test/testkit/programmes.ts'
import { limit, specOf } from '../../../test/testkit/specs.ts'
import { defaultSettings, FIT_PARAMETERS } from '../../domain/index.ts'
import { chooseGains } from './choose-gains.ts'
import { MOVE_WEIGHTS, moveCosts } from './move-costs.ts'

const settings = defaultSettings(FIT_PARAMETERS)
const SLEW = settings.rideSlewDbPerSecond / 10

/** Music that swells by a few dB from one 100 ms to the next: open sound. */
function swelling(seconds: number, lkfs: number, seed = 3): number[] {
  const random = seededRandom(seed)
  return Array.from({ length: seconds * 10 }, () => energyOf(lkfs + 3 * random() - 6 * random())).flatMap((energy) =>
    new Array<number>(10).fill(energy),
  )
}

const marked = (hops: number, ...lines: readonly (readonly [number, number])[]) =>
  Uint8Array.from({ length: hops }, (_, hop) => Number(lines.some(([from, to]) => hop >= from * 10 && hop < to * 10)))

// What is dear and what is cheap: common practice of riding a fader.
describe('what a move costs', () => {
  test('a step that touches a line of dialogue is dear, a pause is cheap and may be quicker', () => {
    const energies = Float64Array.from([...swelling(10, -24), ...steps([2, -60]), ...swelling(10, -24)])
    const { weight, slewDb } = moveCosts(energies, marked(220, [2, 5]), 220, settings)
    expect(weight).toHaveLength(219)
    expect(weight[19]).toBe(MOVE_WEIGHTS.inDialogue)
    expect(weight[49]).toBe(MOVE_WEIGHTS.inDialogue)
    expect(weight[18]).toBe(MOVE_WEIGHTS.open)
    expect(weight[110]).toBe(MOVE_WEIGHTS.inPause)
    expect(slewDb[110]).toBeGreaterThan(3 * SLEW)
    expect(slewDb[60]).toBeCloseTo(SLEW, 3)
  })

  test('the second before a hit is dear, the 0.2 s after its attack cheap', () => {
    const energies = Float64Array.from([...swelling(10, -27), ...steps([0.6, -8]), ...swelling(10, -27)])
    const { weight, slewDb } = moveCosts(energies, null, 206, settings)
    for (let k = 90; k < 100; k++) expect(weight[k]).toBe(MOVE_WEIGHTS.beforeHit)
    expect(weight[100]).toBe(MOVE_WEIGHTS.underAttack)
    expect(slewDb[100]).toBeGreaterThan(10 * SLEW)
    expect(weight[89]).toBe(MOVE_WEIGHTS.open)
    expect(weight[102]).not.toBe(MOVE_WEIGHTS.underAttack)
  })

  test('a hit inside a line of dialogue hides no move of the voice around it', () => {
    const energies = Float64Array.from([...swelling(10, -27), ...steps([0.6, -8]), ...swelling(10, -27)])
    const { weight } = moveCosts(energies, marked(206, [8, 14]), 206, settings)
    for (let k = 80; k < 140; k++) expect(weight[k]).toBe(MOVE_WEIGHTS.inDialogue)
  })

  test('steady sound is dearer than open sound, silence costs no more than a pause', () => {
    const steady = moveCosts(steps([20, -24]), null, 200, settings)
    expect(steady.weight[100]).toBe(MOVE_WEIGHTS.steady)
    const silent = moveCosts(new Float64Array(2000), null, 200, settings)
    expect(silent.weight[100]).toBe(MOVE_WEIGHTS.inPause)
  })
})

describe('the ride', () => {
  const spec = specOf(-24, 1, { maxShortTermLkfs: limit(-18) })

  test('moves in the pause before a line, not inside of it', () => {
    const energies = Float64Array.from([
      ...swelling(40, -25),
      ...steps([1, -55]),
      ...swelling(4, -25),
      ...swelling(8, -12),
      ...steps([1, -55]),
      ...swelling(40, -25),
    ])
    const line = marked(940, [41, 45])
    const told = chooseGains(measuredOf(energies), spec, settings, { speech100ms: line })
    const deaf = chooseGains(measuredOf(energies), spec, settings)
    const movedInLine = (ride: Float64Array | null) => Math.abs((ride?.[449] ?? 0) - (ride?.[411] ?? 0))
    expect(movedInLine(told.plan.rideDb)).toBeLessThan(0.05)
    expect(movedInLine(deaf.plan.rideDb)).toBeLessThan(0.05)
    expect(told.certificate?.movementInDialogueDb).toBeLessThan(0.05)
    expect(told.certificate?.movementDb).toBeGreaterThan(8)
    expect(deaf.certificate?.movementInDialogueDb).toBeNull()
  })

  // The first hit asks for a lower gain; the second, inside the line that follows, asks for nothing and would hide the way back.
  test('does not wait for a hit inside a line to move back', () => {
    const loud = steps([0.4, -8])
    const allowed = steps([0.4, -15.5])
    const energies = [...swelling(20, -27), ...loud, ...swelling(4.6, -27, 5), ...allowed, ...swelling(24.6, -27, 7)]
    const line = marked(500, [23, 28])
    const spec = specOf(-24, 1, { maxMomentaryLkfs: limit(-10) })
    const { plan, certificate } = chooseGains(measuredOf(Float64Array.from(energies)), spec, settings, {
      speech100ms: line,
    })
    expect(certificate?.largestMoveDb).toBeGreaterThan(2)
    expect(certificate?.lines).toMatchObject({ count: 1, movedCount: 0 })
    expect(plan.rideDb?.subarray(232, 280).every((gainDb) => gainDb === 0)).toBe(true)
  })

  test('what it does inside a line is told where no other way is left', () => {
    const energies = Float64Array.from([...swelling(40, -25), ...swelling(20, -12), ...swelling(40, -25)])
    const { certificate } = chooseGains(measuredOf(energies), spec, settings, { speech100ms: marked(1000, [0, 100]) })
    expect(certificate?.movementInDialogueDb).toBeGreaterThan(5)
    expect(certificate?.weightedMovementDb).toBeGreaterThan(5 * MOVE_WEIGHTS.inDialogue)
  })
})
