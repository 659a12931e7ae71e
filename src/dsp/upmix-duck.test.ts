import { describe, expect, it } from 'vitest'
import { duckFor } from './upmix-duck.ts'

const STEPS = Array.from({ length: 21 }, (_, step) => step / 20)
/** How far a bin gives way whose own share of common power is `bin`. */
const heldBack = (share: number, bin: number, voice: number | null) => {
  const { amount, from, range } = duckFor(share, voice)
  return amount * Math.max(0, Math.min(1, (bin - from) / range))
}

describe('how far the surrounds give way', () => {
  it('to a voice no less than where nobody listens in bins that are mostly common, to music never more', () => {
    for (const share of STEPS) {
      for (const bin of STEPS) {
        expect(heldBack(share, bin, 0)).toBeLessThanOrEqual(heldBack(share, bin, null))
        if (bin >= 0.35) expect(heldBack(share, bin, 1)).toBeGreaterThanOrEqual(heldBack(share, bin, null))
      }
    }
  })

  it('to a voice that loud effects hide from the share of the middle', () => {
    expect(heldBack(0.1, 0.5, null)).toBe(0)
    expect(heldBack(0.1, 0.5, 1)).toBe(1)
  })

  it('never less to a voice that is surer, and without a step', () => {
    for (const share of STEPS) {
      for (let voice = 0; voice < 1; voice += 1 / 255) {
        const more = heldBack(share, 0.3, Math.min(1, voice + 1 / 255)) - heldBack(share, 0.3, voice)
        expect(more).toBeGreaterThanOrEqual(-1e-12)
        expect(more).toBeLessThan(0.05)
      }
    }
  })

  it('not at all in a bin that nothing has in common', () => {
    for (const voice of [null, 0, 0.5, 1]) expect(heldBack(1, 0.05, voice)).toBe(0)
  })
})
