import { describe, expect, it } from 'vitest'
import { SHIFT_REACH, writeShifted } from './shift.ts'

// Outside authority: what a sine is a part of a sample earlier is arithmetic.
describe('a track brought forward', () => {
  it.each([0.25, -0.4, 3.5, -12.1, 240.4])(
    'by %f frames is the sine of that time, to 0.9 of half the rate',
    (frames) => {
      for (const share of [0.01, 0.3, 0.7, 0.9]) {
        const sine = (at: number) => Math.sin(Math.PI * share * at + 1)
        const track = Float64Array.from({ length: 2000 }, (_, n) => sine(n))
        const out = new Float64Array(1000)
        writeShifted(track, 500, frames, out)
        for (let n = 0; n < out.length; n++) expect(Math.abs(out[n]! - sine(500 + n + frames))).toBeLessThan(1e-5)
      }
    },
  )

  it('by whole frames is copied, and silent beyond its ends', () => {
    const track = Float64Array.from({ length: 100 }, (_, n) => n + 1)
    const out = new Float64Array(100)
    writeShifted(track, 0, 7, out)
    expect(Array.from(out.subarray(0, 93))).toEqual(Array.from(track.subarray(7)))
    expect(out.subarray(93).every((x) => x === 0)).toBe(true)
  })

  it('a direct current stays what it is', () => {
    const out = new Float64Array(10)
    writeShifted(new Float64Array(1000).fill(0.5), 3 * SHIFT_REACH, 0.37, out)
    for (const x of out) expect(x).toBeCloseTo(0.5, 12)
  })
})
