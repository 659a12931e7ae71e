import { describe, expect, test } from 'vitest'
import { Bug } from './findings.ts'
import { GAIN_STEP_DB } from './plan.ts'
import { type HandRide, type Trim, trimPoints } from './trims.ts'

const HOP = 4800

function trim(startFrame: number, endFrame: number, gainDb: number, glideMs = 100): Trim {
  return { startFrame, endFrame, gainDb, glideMs, reason: null }
}

describe('points of hand rides', () => {
  const ride = (startHop: number, endHop: number, ...points: [number, number][]): HandRide => ({
    startFrame: startHop * HOP,
    endFrame: endHop * HOP,
    points: points.map(([hop, gainDb]) => ({ frame: hop * HOP, gainDb })),
    reason: null,
  })

  test('are straight lines in dB between the points, held to the ends of their stretch, nothing outside', () => {
    const points = trimPoints([ride(2, 10, [3.5, 0], [7.5, -4])], 12, HOP) as Float64Array
    expect([...points]).toEqual([0, 0, 0, 0, -1, -2, -3, -4, -4, -4, 0, 0])
    expect([...(trimPoints([ride(0, 3, [1, -2])], 5, HOP) as Float64Array)]).toEqual([-2, -2, -2, 0, 0])
  })

  test('add up with trims, and are nothing where they are flat at 0', () => {
    const both = trimPoints([ride(0, 4, [0, 2]), trim(0, 2 * HOP, -3)], 5, HOP) as Float64Array
    expect([...both]).toEqual([-1, -1, 2, 2, 0])
    expect(trimPoints([ride(0, 4, [1, 0])], 5, HOP)).toBeNull()
  })
})

describe('points of trims', () => {
  test('a short glide takes the hops whose centre lies inside', () => {
    expect(trimPoints([trim(HOP + 2400, 4 * HOP + 2400, -3)], 6, HOP)).toEqual(Float64Array.of(0, -3, -3, -3, 0, 0))
    expect(trimPoints([trim(HOP + 2401, 4 * HOP + 2401, -3, 0)], 6, HOP)).toEqual(Float64Array.of(0, 0, -3, -3, -3, 0))
  })

  test('a glide is a straight line in dB with half the gain at the border', () => {
    const points = trimPoints([trim(10 * HOP, 30 * HOP, -8, 800)], 40, HOP) as Float64Array
    expect(Array.from(points.subarray(5, 15))).toEqual([0, -0.5, -1.5, -2.5, -3.5, -4.5, -5.5, -6.5, -7.5, -8])
    expect(Array.from(points.subarray(25, 35))).toEqual([-8, -7.5, -6.5, -5.5, -4.5, -3.5, -2.5, -1.5, -0.5, 0])
  })

  test('a glide longer than its trim still reaches the gain, in the middle', () => {
    const points = trimPoints([trim(10 * HOP, 15 * HOP, 5, 5000)], 30, HOP) as Float64Array
    expect(Math.max(...points)).toBe(5)
    expect(points[12]).toBe(5)
  })

  test('nothing glides at the beginning and the end of the programme', () => {
    const whole = trimPoints([trim(0, 9.3 * HOP, 2, 1000)], 10, HOP)
    expect(whole).toEqual(new Float64Array(10).fill(2))
  })

  test('neighbours glide into each other', () => {
    const points = trimPoints([trim(20 * HOP, 30 * HOP, 6, 400), trim(10 * HOP, 20 * HOP, -2, 400)], 40, HOP)
    expect(Array.from((points as Float64Array).subarray(17, 23))).toEqual([-2, -1, 1, 3, 5, 6])
  })

  test('no trims and trims of nothing are no curve; a trim that lies on another is our own fault', () => {
    expect(trimPoints([], 10, HOP)).toBeNull()
    expect(trimPoints([trim(0, HOP, 0)], 10, HOP)).toBeNull()
    expect(() => trimPoints([trim(0, 2 * HOP, 1), trim(HOP, 3 * HOP, 1)], 10, HOP)).toThrow(Bug)
  })

  test('gains are those that a plan can carry', () => {
    const points = trimPoints([trim(0, 5 * HOP, -1.234567)], 10, HOP) as Float64Array
    expect((points[0] as number) % GAIN_STEP_DB).toBe(-0)
    expect(points[0]).toBeCloseTo(-1.234567, 3)
  })
})
