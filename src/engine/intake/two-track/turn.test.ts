import { describe, expect, it } from 'vitest'
import { hannWindow, turnBy } from './turn.ts'

// Outside authority: the engine's own cosine and sine (ECMA-262 leaves their last bits free, hence the series).
describe('turnBy', () => {
  it('is cosine and sine within 1e-13 over a few turns', () => {
    for (let radians = -25; radians <= 25; radians += 0.0173) {
      const { re, im } = turnBy(radians)
      expect(Math.abs(re - Math.cos(radians))).toBeLessThan(1e-13)
      expect(Math.abs(im - Math.sin(radians))).toBeLessThan(1e-13)
    }
  })
})

describe('hannWindow', () => {
  it('is periodic: 0 at its start, 1 in its middle, and adds up to 1 with itself half a window later', () => {
    const window = hannWindow(64)
    expect(window[0]).toBe(0)
    expect(window[32]).toBe(1)
    for (let index = 0; index < 32; index++) expect(window[index]! + window[index + 32]!).toBeCloseTo(1, 7)
  })
})
