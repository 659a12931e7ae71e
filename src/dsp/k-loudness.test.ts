import { expect, test } from 'vitest'
import { gatedLoudness, loudnessWeight } from '../domain/index.ts'
import { KLoudness } from './k-loudness.ts'

const sine = (rate: number, amplitude: number, hz: number) => (frame: number) =>
  amplitude * Math.sin((2 * Math.PI * hz * frame) / rate)

function loudness(rate: number, weights: readonly number[], signals: readonly ((frame: number) => number)[]) {
  const meter = new KLoudness(rate, weights, rate / 10)
  for (let frame = 0; frame < 20 * rate; frame++) meter.add(signals.map((signal) => signal(frame)))
  return gatedLoudness(Float64Array.from(meter.powers))!
}

// EBU Tech 3341 case 1: a stereo sine of 1000 Hz at -23 dBFS reads -23.0 LUFS +- 0.1.
test.each([44100, 48000, 96000])('a 1 kHz sine at -23 dBFS in both channels reads -23 LKFS at %i Hz', (rate) => {
  const tone = sine(rate, 10 ** (-23 / 20), 1000)
  expect(Math.abs(loudness(rate, [1, 1], [tone, tone]) + 23)).toBeLessThan(0.1)
})

// ITU-R BS.1770-5 Annex 1: 997 Hz at 0 dBFS in L, C or R alone reads -3.01 LKFS; a surround counts 1.41, the LFE nothing.
test('one channel at full scale reads -3.01 LKFS, a surround 1.5 LU more, the LFE nothing', () => {
  const tone = sine(48000, 1, 997)
  expect(loudness(48000, [1], [tone])).toBeCloseTo(-3.01, 1)
  expect(loudness(48000, [loudnessWeight('Ls')], [tone])).toBeCloseTo(-1.52, 1)
  expect(gatedLoudness(new Float64Array(50))).toBeNull()
})
