import fc from 'fast-check'
import { describe, expect, test } from 'vitest'
import { loadKernels } from '../../test/testkit/kernels.ts'
import { seededRandom } from '../../test/testkit/programmes.ts'
import { noisePlanes, planesOf, sourceOf } from '../../test/testkit/sources.ts'
import {
  type AudioSource,
  bytesPerFrame,
  framesPerHop,
  LAYOUTS,
  type LayoutName,
  type Measured,
  type SampleEncoding,
} from '../domain/index.ts'
import { measureReference } from './meter.reference.ts'
import { Meter } from './meter.ts'

const kernels = loadKernels(16 * 1024 * 1024)

/** Measures a whole source in runs of 100 ms. */
function measure(source: AudioSource): Measured {
  const { encoding, sampleRateHz } = source.format
  const runFrames = framesPerHop(sampleRateHz)
  const mark = kernels.arena.mark()
  const meter = new Meter(kernels, {
    sampleRateHz,
    layout: source.layout,
    input: encoding,
    capacityFrames: runFrames,
    firstFrame: 0,
    peakHistory: true,
  })
  for (let frame = 0; frame < source.frameCount; frame += runFrames) {
    const frames = Math.min(runFrames, source.frameCount - frame)
    source.readInto(meter.pcm.subarray(0, frames * bytesPerFrame(source.format)), frame, frames)
    meter.run(frames)
  }
  const measured = meter.finish(true)
  kernels.arena.release(mark)
  return measured
}

/** Noise that swells and dies away, with a quiet stretch, so that blocks are skipped and are not. */
function material(channelCount: number, frameCount: number, seed: number): Float64Array[] {
  return noisePlanes(channelCount, frameCount, seededRandom(seed)).map((plane, channel) => {
    let smooth = 0
    return plane.map((x, n) => {
      smooth += (x - smooth) * (channel % 2 === 0 ? 1 : 0.15)
      return smooth * (0.05 + 0.9 * Math.abs(Math.sin(n / 3000 + channel))) * (n % 9000 < 1000 ? 1e-5 : 1)
    })
  })
}

const LAYOUT_NAMES = Object.keys(LAYOUTS) as LayoutName[]
const ENCODINGS: readonly SampleEncoding[] = ['int16', 'int24', 'int32', 'float32', 'float64']

describe('the kernel and its readable twin agree to the last bit', () => {
  for (const layout of LAYOUT_NAMES) {
    for (const encoding of ENCODINGS) {
      test(`${layout} ${encoding}`, () => {
        const source = sourceOf(material(LAYOUTS[layout].length, 25_003, 7), layout, 48000, encoding)
        expect(measure(source)).toEqual(measureReference({ planes: planesOf(source), layout, sampleRateHz: 48000 }))
      })
    }
  }

  for (const sampleRateHz of [32000, 44100, 88200, 96000, 176400, 192000]) {
    test(`5.1 at ${sampleRateHz} Hz`, () => {
      const source = sourceOf(material(6, 40_009, sampleRateHz), '5.1', sampleRateHz)
      expect(measure(source)).toEqual(measureReference({ planes: planesOf(source), layout: '5.1', sampleRateHz }))
    })
  }
})

describe('the true peak of every 100 ms', () => {
  const measureStereo = (left: Float64Array, right: Float64Array) =>
    measure(sourceOf([left, right], '2.0', 48000, 'float64'))

  test('whatever the material: equal to every point computed, and the highest is the peak of the whole', () => {
    const cases = fc.record({
      seed: fc.integer({ min: 1, max: 1e6 }),
      smoothness: fc.double({ min: 0.02, max: 1, noNaN: true }),
      layout: fc.constantFrom<LayoutName>('mono', '2.0', '5.1'),
      frameCount: fc.integer({ min: 1, max: 15_000 }),
    })
    fc.assert(
      fc.property(cases, ({ seed, smoothness, layout, frameCount }) => {
        const planes = noisePlanes(LAYOUTS[layout].length, frameCount, seededRandom(seed)).map((plane) => {
          let smooth = 0
          return plane.map((x, n) => {
            smooth += (x - smooth) * smoothness
            // Bursts at the borders of the 100 ms, where what rings out belongs to the next.
            return n % 4800 < 8 || n % 4800 > 4793 ? x : smooth
          })
        })
        const source = sourceOf(planes, layout, 48000, 'float32')
        const measured = measure(source)
        const expected = measureReference({ planes: planesOf(source), layout, sampleRateHz: 48000 })
        expect(measured.truePeak100ms).toEqual(expected.truePeak100ms)
        expect(measured.foldDownTruePeak100ms).toEqual(expected.foldDownTruePeak100ms)
        const channels = LAYOUTS[layout].length
        for (const [channel, { truePeak }] of measured.channels.entries()) {
          const history = measured.truePeak100ms?.filter((_, i) => i % channels === channel) ?? []
          expect(Math.max(...history)).toBe(Math.fround(truePeak.value))
        }
      }),
      { numRuns: 20, seed: 1 },
    )
  })

  test('what rings out behind the last sample belongs to the last 100 ms, full or begun', () => {
    // A step that ends the programme: by the table of BS.1770-5 Annex 2 points behind it reach 1.1158 of it.
    for (const frameCount of [9600, 9601, 9605]) {
      const step = Float64Array.from({ length: frameCount }, (_, n) => (n < frameCount - 40 ? 0 : 0.5))
      const { truePeak100ms, channels } = measureStereo(step, step)
      expect(truePeak100ms).toHaveLength(2 * Math.ceil(frameCount / 4800))
      expect(truePeak100ms?.at(-1)).toBe(channels[1]?.truePeak.value)
      expect(truePeak100ms?.at(-1)).toBeGreaterThan(0.55)
    }
  })
})
