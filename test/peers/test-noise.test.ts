// The noise that loudspeakers are calibrated with, as SciPy sees it.
import { execFileSync } from 'node:child_process'
import { fileURLToPath } from 'node:url'
import { describe, expect, test } from 'vitest'
import { LFE_NOISE, MAINS_NOISE, type NoiseBand, testNoise } from '../../src/web/listen/test-noise.ts'

const ORACLE = fileURLToPath(new URL('test-noise-oracle.py', import.meta.url))

type Seen = {
  readonly rmsDbfs: number
  readonly octaves: Readonly<Record<string, number>>
  readonly peakDbfs: number
  readonly cWeightedDb: number
}

function seen(rateHz: number, band: NoiseBand): Seen {
  const input = new Uint8Array(testNoise(rateHz, band).buffer)
  return JSON.parse(execFileSync('python3', [ORACLE, String(rateHz)], { input, encoding: 'utf8' }))
}

// -20 dBFS as the rms of a sine (AES17); band of EBU Tech 3343 8.2; pink: each octave has half of the power of two.
describe.each([44100, 48000, 96000])('at %i Hz', (rateHz) => {
  test('the noise of the mains is pink from 500 Hz to 2 kHz, and nowhere else', () => {
    const { rmsDbfs, octaves, peakDbfs } = seen(rateHz, MAINS_NOISE)
    expect(rmsDbfs).toBeCloseTo(-20, 2)
    expect(octaves['500']).toBeCloseTo(-23.01, 1)
    expect(octaves['1000']).toBeCloseTo(-23.01, 1)
    expect(octaves['250']).toBeLessThan(-90)
    expect(octaves['2000']).toBeLessThan(-90)
    expect(peakDbfs).toBeLessThan(-6)
  })

  // Common practice: in its band the LFE stands 10 dB above a loudspeaker (ITU-R BS.775-4); C-weighted about 1 dB less.
  test('the noise of the LFE is as loud in each of its octaves, of which a C-weighted meter shows 1 dB less', () => {
    const { rmsDbfs, octaves, cWeightedDb } = seen(rateHz, LFE_NOISE)
    expect(rmsDbfs).toBeCloseTo(-20, 2)
    expect(octaves['30']).toBeCloseTo(-23.01, 1)
    expect(octaves['60']).toBeCloseTo(-23.01, 1)
    expect(octaves['120']).toBeLessThan(-90)
    expect(cWeightedDb - rmsDbfs).toBeLessThan(-0.5)
    expect(cWeightedDb - rmsDbfs).toBeGreaterThan(-1.5)
  })
})
