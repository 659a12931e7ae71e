import {
  type AudioSource,
  bytesPerFrame,
  type Cancellation,
  Cancelled,
  LAYOUTS,
  type Segment,
} from '../../domain/index.ts'
import { decodeChannel, type Kernels, lowBandMarginFrames, lowBandProducts, takePlane } from '../../dsp/index.ts'

const READ_SECONDS = 1

/**
 * The low end of one segment: four mean products of each 100 ms, see `lowBandProducts`, over all channels but the LFE.
 * Segments joined give what one pass over the programme gives, to the last bit.
 */
export function lowEndOfSegment(
  kernels: Kernels,
  source: AudioSource,
  segment: Segment,
  crossoverHz: number,
  cancellation?: Cancellation,
): Float64Array {
  const { format, layout } = source
  const { sampleRateHz } = format
  const margin = lowBandMarginFrames(sampleRateHz)
  const firstFrame = Math.max(0, segment.firstFrame - margin)
  const frameCount = Math.min(source.frameCount, segment.firstFrame + segment.frameCount + margin) - firstFrame
  const mark = kernels.arena.mark()
  try {
    const channels = LAYOUTS[layout].flatMap((role, channel) => (role === 'LFE' ? [] : [channel]))
    const planes = channels.map(() => takePlane(kernels, frameCount, false))
    const readFrames = READ_SECONDS * sampleRateHz
    const address = kernels.arena.take(readFrames * bytesPerFrame(format))
    for (let frame = 0; frame < frameCount; frame += readFrames) {
      if (cancellation?.aborted) throw new Cancelled()
      const count = Math.min(readFrames, frameCount - frame)
      const bytes = new Uint8Array(kernels.memory.buffer, address, count * bytesPerFrame(format))
      source.readInto(bytes, firstFrame + frame, count)
      for (const [index, plane] of planes.entries()) {
        decodeChannel(kernels, { address, format, frameCount: count }, channels[index] as number, plane, frame)
      }
    }
    return lowBandProducts(kernels, { planes, firstFrame, frameCount, sampleRateHz }, crossoverHz, segment)
  } finally {
    kernels.arena.release(mark)
  }
}
