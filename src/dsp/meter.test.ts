import { describe, expect, test } from 'vitest'
import { loadKernels } from '../../test/testkit/kernels.ts'
import { seededRandom } from '../../test/testkit/programmes.ts'
import { noisePlanes, planesOf, sourceOf } from '../../test/testkit/sources.ts'
import {
  type AudioSource,
  bytesPerFrame,
  LAYOUTS,
  type LayoutName,
  type Measured,
  type SampleEncoding,
} from '../domain/index.ts'
import { measureReference } from './meter.reference.ts'
import { Meter } from './meter.ts'

const kernels = loadKernels(16 * 1024 * 1024)

/** Measures a whole source in runs of `runFrames`. */
function measure(source: AudioSource, runFrames = 4800): Measured {
  const { encoding, sampleRateHz } = source.format
  const mark = kernels.arena.mark()
  const meter = new Meter(kernels, {
    sampleRateHz,
    layout: source.layout,
    input: encoding,
    capacityFrames: runFrames,
    firstFrame: 0,
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
