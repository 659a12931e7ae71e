import { type AudioSource, bytesPerFrame } from '../../domain/index.ts'
import type { Kernels } from '../../dsp/index.ts'
import { foldSegment } from './fold.ts'
import { type FoldTarget, foldLaw } from './fold-law.ts'

/** Blocks are folded from multiples of so many frames on. */
const GRID_FRAMES = 4

/** A fold-down in float32 as if it lay in a file: folded as it is read. */
export function foldedSource(kernels: Kernels, source: AudioSource, to: FoldTarget): AudioSource {
  const channelCount = foldLaw(source.layout, to).sides.length
  const { sampleRateHz } = source.format
  const format = { encoding: 'float32', channelCount, sampleRateHz } as const
  let kept = new Uint8Array(0)
  return {
    format,
    layout: channelCount === 1 ? 'mono' : '2.0',
    frameCount: source.frameCount,
    readInto(bytes, frameIndex, frameCount) {
      const lead = frameIndex % GRID_FRAMES
      const segment = { index: 0, firstFrame: frameIndex - lead, frameCount: lead + frameCount }
      const job = { source, to, gainDb: 0, encoding: 'float32', ditherSeed: [0, 0] } as const
      const length = segment.frameCount * bytesPerFrame(format)
      if (kept.length < length) kept = new Uint8Array(length)
      const { words } = foldSegment(kernels, job, segment, undefined, kept.subarray(0, length))
      bytes.set(words.subarray(lead * bytesPerFrame(format)))
    },
  }
}
