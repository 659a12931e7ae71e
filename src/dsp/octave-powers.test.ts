import { expect, test } from 'vitest'
import { loadKernels } from '../../test/testkit/kernels.ts'
import { seededRandom } from '../../test/testkit/programmes.ts'
import { OCTAVES_HZ } from '../domain/index.ts'
import { OctavePowers } from './octave-powers.ts'

const kernels = loadKernels(16 * 1024 * 1024)
const RATE_HZ = 48000
const LENGTH = 8192

function powersOf(...signals: [Float64Array, Float64Array?]): Float64Array {
  const powers = new Float64Array(OCTAVES_HZ.length)
  new OctavePowers(kernels, RATE_HZ, LENGTH).add(signals, 0, powers)
  return powers
}

const tone = (hz: number, amplitude: number) =>
  Float64Array.from({ length: LENGTH }, (_, n) => amplitude * Math.sin((2 * Math.PI * hz * n) / RATE_HZ))

// Fact: a sine of amplitude a has the power a^2 / 2; 0.1 dB is left for what the window sees of its phase.
test.each(OCTAVES_HZ.map((hz, octave) => [hz, octave]))('a tone of %s Hz lies in its octave alone', (hz, octave) => {
  const powers = powersOf(tone(hz, 0.5))
  const db = (power: number) => 10 * Math.log10(power / 0.125)
  expect(Math.abs(db(powers[octave] as number))).toBeLessThan(0.1)
  for (const [other, power] of powers.entries()) if (other !== octave) expect(db(power)).toBeLessThan(-20)
})

test('two signals are the sum of each alone', () => {
  const random = seededRandom(7)
  const [a, b] = [0.3, 0.05].map((level) => Float64Array.from({ length: LENGTH }, () => level * (random() - 0.5)))
  const together = powersOf(a as Float64Array, b)
  const [one, other] = [powersOf(a as Float64Array), powersOf(b as Float64Array)]
  for (const [octave, power] of together.entries()) {
    expect(power / ((one[octave] as number) + (other[octave] as number))).toBeCloseTo(1, 4)
  }
})

test('white noise has its power in proportion to the width of the octaves', () => {
  const random = seededRandom(11)
  let sum = 0
  const rounds = 40
  const powers = new Float64Array(OCTAVES_HZ.length)
  const octaves = new OctavePowers(kernels, RATE_HZ, LENGTH)
  for (let round = 0; round < rounds; round++) {
    const noise = Float64Array.from({ length: LENGTH }, () => random() - 0.5)
    sum += noise.reduce((total, x) => total + x * x, 0) / LENGTH
    octaves.add([noise], 0, powers)
  }
  // The 1 kHz octave is 707.95 to 1412.5 Hz of 24 kHz (IEC 61260-1).
  const share = (powers[5] as number) / sum
  expect(10 * Math.log10(share / ((1412.5 - 707.95) / 24000))).toBeCloseTo(0, 0)
})
