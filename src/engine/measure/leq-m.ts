import {
  type AudioSource,
  bytesPerFrame,
  type Cancellation,
  Cancelled,
  framesPerHop,
  type Segment,
} from '../../domain/index.ts'
import { decodeChannel, type Kernels, MWeightedEnergy, takePlane } from '../../dsp/index.ts'

/** Heard before a segment so that the filters stand as if the programme had run through: they ring for 10 ms. */
const WARM_UP_HOPS = 1

const HOPS_PER_READ = 10

/** Sum of squares of every channel of one segment behind the M-weighting, full scale = 1, in channel order. */
export function mWeightedEnergies(
  kernels: Kernels,
  source: AudioSource,
  segment: Segment,
  cancellation?: Cancellation,
): Float64Array {
  const { format } = source
  const { channelCount, sampleRateHz } = format
  const hopFrames = framesPerHop(sampleRateHz)
  const readFrames = HOPS_PER_READ * hopFrames
  const mark = kernels.arena.mark()
  try {
    const filter = new MWeightedEnergy(kernels, sampleRateHz, channelCount)
    const plane = takePlane(kernels, readFrames, true)
    const pcmBytes = readFrames * bytesPerFrame(format)
    const pcm = new Uint8Array(kernels.memory.buffer, kernels.arena.take(pcmBytes), pcmBytes)
    const feed = (from: number, to: number): Float64Array => {
      const sums = new Float64Array(channelCount)
      for (let frame = from; frame < to; frame += readFrames) {
        if (cancellation?.aborted) throw new Cancelled()
        const frameCount = Math.min(readFrames, to - frame)
        source.readInto(pcm.subarray(0, frameCount * bytesPerFrame(format)), frame, frameCount)
        for (let channel = 0; channel < channelCount; channel++) {
          decodeChannel(kernels, { address: pcm.byteOffset, format, frameCount }, channel, plane, 0)
          sums[channel] = (sums[channel] as number) + filter.add(channel, plane, frameCount)
        }
      }
      return sums
    }
    feed(Math.max(0, segment.firstFrame - WARM_UP_HOPS * hopFrames), segment.firstFrame)
    return feed(segment.firstFrame, segment.firstFrame + segment.frameCount)
  } finally {
    kernels.arena.release(mark)
  }
}
