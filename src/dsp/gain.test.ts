import { describe, expect, test } from 'vitest'
import { loadKernels } from '../../test/testkit/kernels.ts'
import { seededRandom } from '../../test/testkit/programmes.ts'
import { framesPerHop, type GainPlan, roundToGainStep } from '../domain/index.ts'
import { gainOfFrame } from './gain.reference.ts'
import { holdUnityOutside, multiplyGains, takeGain, writeGain } from './gain.ts'

const kernels = loadKernels(4 * 1024 * 1024)

function gains(plan: GainPlan, sampleRateHz: number, firstFrame: number, frameCount: number): Float64Array {
  const mark = kernels.arena.mark()
  const address = takeGain(kernels, frameCount)
  writeGain(kernels, plan, sampleRateHz, { firstFrame, frameCount }, address)
  kernels.arena.release(mark)
  return new Float64Array(kernels.memory.buffer, address, frameCount).slice()
}

/** A ride that wanders over 60 dB in hops of up to 6 dB, far more than any fit moves. */
function ride(points: number, seed: number): Float64Array {
  const random = seededRandom(seed)
  return Float64Array.from({ length: points }, () => roundToGainStep(60 * random() - 48))
}

describe('static gain and ride', () => {
  test.each([32000, 44100, 48000, 192000])('at %i Hz the kernel follows the equation to 1e-14', (rate) => {
    const plan = { staticGainDb: -3.5, rideDb: ride(9, rate), ceilingDbtp: null }
    const written = gains(plan, rate, 0, rate)
    for (let frame = 0; frame < rate; frame++) {
      const wanted = gainOfFrame(plan.staticGainDb, plan.rideDb, framesPerHop(rate), frame)
      if (Math.abs((written[frame] as number) / wanted - 1) > 1e-14)
        expect({ frame, gain: written[frame] }).toBe(wanted)
    }
  })

  test('is held before the first and after the last hop centre', () => {
    const plan = { staticGainDb: 0, rideDb: Float64Array.of(-6, -3), ceilingDbtp: null }
    const written = gains(plan, 48000, 0, 12000)
    for (const [frame, db] of [
      [0, -6],
      [2400, -6],
      [4800, -4.5],
      [7200, -3],
      [11999, -3],
    ] as const) {
      expect(written[frame]).toBeCloseTo(10 ** (db / 20), 14)
    }
    expect(written[0]).toBe(written[2400])
    expect(written[7200]).toBe(written[11999])
  })

  test('a frame has the same gain wherever the stretch begins', () => {
    const plan = { staticGainDb: 1.25, rideDb: ride(12, 7), ceilingDbtp: null }
    const whole = gains(plan, 44100, 0, 50000)
    for (const [first, count] of [
      [1, 3],
      [4409, 4412],
      [13231, 20001],
    ] as const) {
      expect(gains(plan, 44100, first, count)).toEqual(whole.slice(first, first + count))
    }
  })

  test('0 dB is exactly 1, with a ride at rest and without', () => {
    expect(new Set(gains({ staticGainDb: 0, rideDb: null, ceilingDbtp: null }, 48000, 0, 1001))).toEqual(new Set([1]))
    const resting = { staticGainDb: 2, rideDb: new Float64Array(3).fill(-2), ceilingDbtp: null }
    expect(new Set(gains(resting, 48000, 0, 1001))).toEqual(new Set([1]))
  })

  test('the product of two curves, odd lengths too', () => {
    const mark = kernels.arena.mark()
    const [a, b] = [takeGain(kernels, 5), takeGain(kernels, 5)]
    const view = (address: number) => new Float64Array(kernels.memory.buffer, address, 6)
    view(a).set([1, 2, 3, 4, 5, 9])
    view(b).set([0.5, 0.5, 2, 2, 0.25, 9])
    multiplyGains(kernels, a, b, 5, b)
    expect([...view(b)]).toEqual([0.5, 1, 6, 8, 1.25, 9])
    kernels.arena.release(mark)
  })
})

test('outside the programme the gain is exactly 1, up to the very frame; inside nothing changes', () => {
  const programme = [
    { startFrame: 4000, endFrame: 9001 },
    { startFrame: 9001, endFrame: 20_000 },
    { startFrame: 30_000, endFrame: 100_000 },
  ]
  const plan = { staticGainDb: -3.5, rideDb: Float64Array.of(-1, 2, -4, 0, 1, -2, -2, 3), ceilingDbtp: null }
  for (const [firstFrame, frameCount] of [
    [0, 40_000],
    [8000, 1500],
    [19_999, 10_002],
    [21_000, 400],
  ] as const) {
    const mark = kernels.arena.mark()
    const stretch = { firstFrame, frameCount }
    const address = takeGain(kernels, frameCount)
    writeGain(kernels, plan, 48000, stretch, address)
    const before = new Float64Array(kernels.memory.buffer, address, frameCount).slice()
    holdUnityOutside(kernels, programme, stretch, address)
    const after = new Float64Array(kernels.memory.buffer, address, frameCount)
    for (let i = 0; i < frameCount; i++) {
      const frame = firstFrame + i
      const isInside = programme.some(({ startFrame, endFrame }) => frame >= startFrame && frame < endFrame)
      if (after[i] !== (isInside ? before[i] : 1)) expect.fail(`frame ${frame} has a gain of ${after[i]}`)
    }
    kernels.arena.release(mark)
  }
})
