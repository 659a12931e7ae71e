import { describe, expect, test } from 'vitest'
import { loadKernels } from '../../../test/testkit/kernels.ts'
import { seededRandom } from '../../../test/testkit/programmes.ts'
import { noisePlanes, planesOf, sourceOf } from '../../../test/testkit/sources.ts'
import { bytesPerFrame, type GainPlan } from '../../domain/index.ts'
import { riddenSource } from './ridden-source.ts'

const kernels = loadKernels(16 * 1024 * 1024)
const FRAMES = 20000
const master = sourceOf(noisePlanes(2, FRAMES, seededRandom(7)), '2.0', 48000, 'int24')

describe('a source under a plan', () => {
  test('is each sample times 10^(dB/20), and as it is outside the programme', () => {
    const programme = [{ startFrame: 5000, endFrame: 15000 }]
    const plan: GainPlan = { staticGainDb: -3.5, rideDb: null, ceilingDbtp: null, programme }
    const ridden = planesOf(riddenSource(kernels, master, plan))
    for (const [channel, plane] of planesOf(master).entries()) {
      const wanted = plane.map((sample, frame) =>
        frame >= 5000 && frame < 15000 ? sample * 10 ** (-3.5 / 20) : sample,
      )
      for (const [frame, sample] of wanted.entries()) {
        const error = Math.abs((ridden[channel]?.[frame] as number) - sample)
        if (error > 1e-14) expect({ channel, frame, error }).toBe(0)
      }
    }
  })

  test('reads the same from any frame, in reads of any length', () => {
    const plan: GainPlan = { staticGainDb: 0, rideDb: Float64Array.of(0, -6, 3, 3, -1), ceilingDbtp: null }
    const source = riddenSource(kernels, master, plan)
    const frameBytes = bytesPerFrame(source.format)
    const whole = new Uint8Array(FRAMES * frameBytes)
    source.readInto(whole, 0, FRAMES)
    for (const [frame, count] of [
      [0, 1],
      [7199, 2],
      [4095, 4098],
      [1234, 17000],
    ] as const) {
      const part = new Uint8Array(count * frameBytes)
      source.readInto(part, frame, count)
      expect(Buffer.compare(part, whole.subarray(frame * frameBytes, (frame + count) * frameBytes))).toBe(0)
    }
  })
})
