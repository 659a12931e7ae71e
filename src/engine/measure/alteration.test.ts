import { expect, test } from 'vitest'
import { loadKernels } from '../../../test/testkit/kernels.ts'
import { seededRandom } from '../../../test/testkit/programmes.ts'
import { noisePlanes, sourceOf } from '../../../test/testkit/sources.ts'
import { Cancelled, OCTAVE_COUNT, OCTAVES_HZ, segmentAt } from '../../domain/index.ts'
import { compareWithSource, writeDifference } from './index.ts'

const kernels = loadKernels(32 * 1024 * 1024)
const RATE_HZ = 48000
const HOP = RATE_HZ / 10

function differenceOf(
  delivered: readonly Float64Array[],
  before: readonly Float64Array[],
  layout: '2.0' | '5.1',
): Float32Array {
  const source = sourceOf(delivered, layout, RATE_HZ, 'int24')
  const written = new Float32Array(source.frameCount * delivered.length)
  const bytes = new Uint8Array(written.buffer)
  const segment = segmentAt(0, source.frameCount, RATE_HZ)
  writeDifference(kernels, source, sourceOf(before, layout), segment, (block, frame) =>
    bytes.set(block, frame * 4 * delivered.length),
  )
  return written
}

test('the difference is what was delivered minus what was there, channel by channel', () => {
  const before = noisePlanes(6, 10_001, seededRandom(3))
  const delivered = before.map((plane, channel) =>
    plane.map((x) => Math.round(x * 0.5 * (channel + 1) * 1e6) / 2 ** 23),
  )
  const written = differenceOf(delivered, before, '5.1')
  for (const [channel, plane] of delivered.entries()) {
    for (let n = 0; n < plane.length; n += 97) {
      expect(written[n * 6 + channel]).toBe(
        Math.fround((plane[n] as number) - ((before[channel] as Float64Array)[n] as number)),
      )
    }
  }
})

// Fact: a gain of -6 dB on one octave takes 6 dB of its energy and nothing of the others.
test('a band that is turned down shows in its octave alone, in the hops that are looked at', () => {
  const tone = (hz: number, gain: number) =>
    Float64Array.from({ length: 20 * HOP }, (_, n) => 0.2 * gain * Math.sin((2 * Math.PI * hz * n) / RATE_HZ))
  const sum = (low: number) => {
    const [bass, voice] = [tone(63, low), tone(1000, 1)]
    return bass.map((x, n) => x + (voice[n] as number))
  }
  const before = sourceOf([sum(1), sum(1)], '2.0')
  const delivered = sourceOf([sum(0.5), sum(0.5)], '2.0')
  const segment = segmentAt(0, 20 * HOP, RATE_HZ)
  const isActing = Uint8Array.from({ length: 20 }, (_, hop) => (hop >= 5 && hop < 15 ? 1 : 0))
  const altered = compareWithSource(kernels, delivered, before, segment, isActing)
  const inOctave = (powers: Float64Array, hop: number, hz: number) =>
    powers[hop * OCTAVE_COUNT + OCTAVES_HZ.indexOf(hz)] as number
  const removedDb = (hop: number, hz: number) =>
    10 * Math.log10(inOctave(altered.octavesAfter, hop, hz) / inOctave(altered.octavesBefore, hop, hz))
  for (let hop = 5; hop < 15; hop++) {
    expect(removedDb(hop, 63)).toBeCloseTo(20 * Math.log10(0.5), 2)
    expect(removedDb(hop, 1000)).toBeCloseTo(0, 2)
  }
  expect(altered.octavesBefore.subarray(0, 5 * OCTAVE_COUNT).every((power) => power === 0)).toBe(true)
  expect(altered.centrePeak).toHaveLength(0)
})

test('the centre is watched where there is one, also at the edges of the programme', () => {
  const silence = new Float64Array(3 * HOP)
  const voice = silence.map((_, n) => (n === 10 ? 0.25 : n === 3 * HOP - 1 ? -0.5 : 0))
  const source = sourceOf([silence, silence, voice, silence, silence, silence], '5.1')
  const segment = segmentAt(0, 3 * HOP, RATE_HZ)
  const { centrePeak } = compareWithSource(kernels, source, source, segment, Uint8Array.of(1, 0, 1))
  expect([...centrePeak]).toEqual([0.25, 0, 0.5])
})

test('stops when it is asked to', () => {
  const source = sourceOf(noisePlanes(2, HOP, seededRandom(5)), '2.0')
  const segment = segmentAt(0, HOP, RATE_HZ)
  const stopped = { aborted: true }
  expect(() => compareWithSource(kernels, source, source, segment, Uint8Array.of(1), stopped)).toThrow(Cancelled)
  expect(() => writeDifference(kernels, source, source, segment, () => {}, stopped)).toThrow(Cancelled)
})
