import { type AudioSource, bytesPerFrame, LAYOUTS, type LayoutName } from '../domain/index.ts'
import type { RenderOrder } from './tasks.ts'

/** Rendered words of one segment, as a source that begins at `firstFrame`. */
export function wordsInMemory(
  words: Uint8Array,
  source: AudioSource,
  order: Pick<RenderOrder, 'encoding'>,
  layout: LayoutName,
  firstFrame: number,
): AudioSource {
  const channelCount = LAYOUTS[layout].length
  const format = { encoding: order.encoding, channelCount, sampleRateHz: source.format.sampleRateHz }
  const frameBytes = bytesPerFrame(format)
  return {
    format,
    layout,
    frameCount: firstFrame + words.length / frameBytes,
    readInto(bytes, frameIndex, frameCount) {
      const first = frameIndex - firstFrame
      bytes.set(words.subarray(first * frameBytes, (first + frameCount) * frameBytes))
    },
  }
}
