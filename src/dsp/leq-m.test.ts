import { describe, expect, test } from 'vitest'
import { loadKernels } from '../../test/testkit/kernels.ts'
import { LEAST_TOLERANCE_DB, M_WEIGHTING_TABLE } from '../../test/testkit/m-weighting.ts'
import { seededRandom } from '../../test/testkit/programmes.ts'
import { noisePlanes } from '../../test/testkit/sources.ts'
import { SAMPLE_RATES_HZ } from '../domain/index.ts'
import { takePlane } from './decode.ts'
import { mWeightedEnergyReference } from './leq-m.reference.ts'
import { MWeightedEnergy } from './leq-m.ts'

const kernels = loadKernels(4 * 1024 * 1024)

/** Energy of one channel, fed in runs. */
function energyOf(samples: Float64Array, sampleRateHz: number, runFrames: number): number {
  const mark = kernels.arena.mark()
  const filter = new MWeightedEnergy(kernels, sampleRateHz, 2)
  const plane = takePlane(kernels, runFrames, true)
  const room = new Float64Array(kernels.memory.buffer, plane.address, runFrames)
  let sum = 0
  for (let frame = 0; frame < samples.length; frame += runFrames) {
    const run = samples.subarray(frame, frame + runFrames)
    room.set(run)
    sum += filter.add(1, plane, run.length)
  }
  kernels.arena.release(mark)
  return sum
}

describe('the weighting is inside the tolerances of ISO 21727 Table 1', () => {
  test.each(SAMPLE_RATES_HZ.map((sampleRateHz) => ({ sampleRateHz })))('$sampleRateHz Hz', ({ sampleRateHz }) => {
    const held = M_WEIGHTING_TABLE.filter(([hz]) => hz < 0.46 * sampleRateHz)
    expect(held.length).toBeGreaterThanOrEqual(sampleRateHz < 44100 ? 18 : 20)
    for (const [hz, gainDb, toleranceDb] of held) {
      // Whole periods, measured after 0.2 s, so that nothing but the steady tone counts.
      const frames = Math.round((Math.round(hz * 0.5) * sampleRateHz) / hz)
      const start = Math.round(0.2 * sampleRateHz)
      const tone = Float64Array.from({ length: start + frames }, (_, n) => {
        return Math.sin((2 * Math.PI * hz * n) / sampleRateHz)
      })
      const steady = energyOf(tone, sampleRateHz, tone.length) - energyOf(tone.subarray(0, start), sampleRateHz, start)
      const measuredDb = 10 * Math.log10((2 * steady) / frames)
      expect(Math.abs(measuredDb - gainDb), `${hz} Hz`).toBeLessThanOrEqual(Math.max(toleranceDb, LEAST_TOLERANCE_DB))
    }
  })
})

test('the kernel and its readable twin agree, however the signal is cut', () => {
  const [noise] = noisePlanes(1, 20_011, seededRandom(3)) as [Float64Array]
  const expected = mWeightedEnergyReference(noise, 48000)
  expect(energyOf(noise, 48000, noise.length)).toBe(expected)
  for (const runFrames of [1, 97, 4800]) {
    expect(Math.abs(energyOf(noise, 48000, runFrames) / expected - 1)).toBeLessThan(1e-12)
  }
})
