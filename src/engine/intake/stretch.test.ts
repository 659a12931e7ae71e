import { expect, test } from 'vitest'
import { loadKernels } from '../../../test/testkit/kernels.ts'
import { framesPerSegment, segmentAt } from '../../domain/index.ts'
import { readStretch } from './stretch.ts'

const RATE = 32000

test('a stretch holds its segment and a second on each side, less at the edges', () => {
  const frameCount = framesPerSegment(RATE) * 2 + 1000
  const source = {
    format: { encoding: 'float32', channelCount: 2, sampleRateHz: RATE } as const,
    layout: '2.0' as const,
    frameCount,
    readInto(bytes: Uint8Array, frameIndex: number, count: number) {
      const view = new DataView(bytes.buffer, bytes.byteOffset)
      for (let frame = 0; frame < count; frame++) {
        view.setFloat32(frame * 8, (frameIndex + frame) / 2 ** 21, true)
        view.setFloat32(frame * 8 + 4, -(frameIndex + frame) / 2 ** 21, true)
      }
    },
  }
  const kernels = loadKernels()
  const shapes = [0, 1, 2].map((index) => {
    const mark = kernels.arena.mark()
    const stretch = readStretch(kernels, source, segmentAt(index, frameCount, RATE))
    const { firstFrame, leadFrames, tailFrames, planes } = stretch
    const [left, right] = planes as [Float32Array, Float32Array]
    expect(left[leadFrames]).toBe(firstFrame / 2 ** 21)
    expect(right.at(-1)).toBe(-(firstFrame + stretch.frameCount + tailFrames - 1) / 2 ** 21)
    expect(left.length).toBe(leadFrames + stretch.frameCount + tailFrames)
    expect(new DataView(stretch.words.bytes.buffer, stretch.words.bytes.byteOffset).getFloat32(0, true)).toBe(
      firstFrame / 2 ** 21,
    )
    kernels.arena.release(mark)
    return [leadFrames, tailFrames]
  })
  expect(shapes).toEqual([
    [0, RATE],
    [RATE, 1000],
    [RATE, 0],
  ])
})
