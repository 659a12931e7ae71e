import { describe, expect, test } from 'vitest'
import { loadKernels } from '../../test/testkit/kernels.ts'
import { noisePcm } from '../../test/testkit/wav.ts'
import { bytesPerFrame, type PcmFormat, type SampleEncoding } from '../domain/index.ts'
import { decodeChannel, needsWidePlane, takePlane } from './decode.ts'

const kernels = loadKernels(4 * 1024 * 1024)
const ENCODINGS: readonly SampleEncoding[] = ['int16', 'int24', 'int32', 'float32', 'float64']

function decoded(pcm: Buffer, format: PcmFormat, channel: number, isWide: boolean): number[] {
  const mark = kernels.arena.mark()
  const frameCount = pcm.length / bytesPerFrame(format)
  const address = kernels.arena.take(pcm.length)
  new Uint8Array(kernels.memory.buffer, address, pcm.length).set(pcm)
  const plane = takePlane(kernels, frameCount, isWide)
  decodeChannel(kernels, { address, format, frameCount }, channel, plane, 0)
  kernels.arena.release(mark)
  const Samples = isWide ? Float64Array : Float32Array
  return [...new Samples(kernels.memory.buffer, plane.address, frameCount)]
}

/** Node's own reading of the bytes. */
function readByNode(pcm: Buffer, encoding: SampleEncoding, at: number): number {
  if (encoding === 'float32') return pcm.readFloatLE(at)
  if (encoding === 'float64') return pcm.readDoubleLE(at)
  const bytes = { int16: 2, int24: 3, int32: 4 }[encoding]
  return pcm.readIntLE(at, bytes) / 2 ** (8 * bytes - 1)
}

describe('decoding raw PCM', () => {
  test.each(ENCODINGS)('%s is read as Node reads it, exactly', (encoding) => {
    const format = { encoding, channelCount: 3, sampleRateHz: 48000 }
    const pcm = noisePcm(format, 1001)
    const sampleBytes = bytesPerFrame(format) / 3
    for (const channel of [0, 1, 2]) {
      const wanted = Array.from({ length: 1001 }, (_, frame) =>
        readByNode(pcm, encoding, (frame * 3 + channel) * sampleBytes),
      )
      expect(decoded(pcm, format, channel, needsWidePlane(encoding))).toEqual(wanted)
      expect(decoded(pcm, format, channel, true)).toEqual(wanted)
    }
  })

  test('the ends of an integer word are -1 and one step below 1', () => {
    const pcm = Buffer.from([0, 0, 0x80, 0xff, 0xff, 0x7f])
    expect(decoded(pcm, { encoding: 'int24', channelCount: 1, sampleRateHz: 48000 }, 0, false)).toEqual([
      -1,
      1 - 2 ** -23,
    ])
  })

  test.each(['float32', 'float64'] as const)(
    '%s: what is not finite is silent, +96 dBFS is the loudest',
    (encoding) => {
      const hard = [Number.NaN, Number.POSITIVE_INFINITY, Number.NEGATIVE_INFINITY, 1e30, -1e30, 1e-40, -0, 65536]
      const pcm = Buffer.alloc(hard.length * 8)
      const bytes = encoding === 'float32' ? 4 : 8
      hard.forEach((value, i) => (bytes === 4 ? pcm.writeFloatLE(value, i * 4) : pcm.writeDoubleLE(value, i * 8)))
      const format = { encoding, channelCount: 1, sampleRateHz: 48000 }
      const read = decoded(pcm.subarray(0, hard.length * bytes), format, 0, false)
      expect(read.slice(0, 5)).toEqual([0, 0, 0, 65536, -65536])
      expect(read[5]).toBe(Math.fround(1e-40))
      expect(read[7]).toBe(65536)
    },
  )
})
