import { type AudioSource, bytesPerFrame, type Cancellation, Cancelled, type Segment } from '../../domain/index.ts'
import { decodeChannel, type Kernels, takePlane } from '../../dsp/index.ts'
import { STRETCH_MARGIN_SECONDS, type Stretch } from './detector.ts'

/** Frames of one read; between two reads the user may stop. */
const READ_SECONDS = 1

/**
 * Reads and decodes one segment with its margins. The planes and words lie in kernel memory, taken from the arena;
 * the caller gives them back. Samples that are not finite read as 0.
 */
export function readStretch(
  kernels: Kernels,
  source: AudioSource,
  segment: Segment,
  cancellation?: Cancellation,
): Stretch {
  const { format, layout, frameCount: programmeFrameCount } = source
  const { sampleRateHz, channelCount } = format
  const frameBytes = bytesPerFrame(format)
  const margin = STRETCH_MARGIN_SECONDS * sampleRateHz
  const leadFrames = Math.min(segment.firstFrame, margin)
  const end = segment.firstFrame + segment.frameCount
  const tailFrames = Math.min(programmeFrameCount - end, margin)
  const frames = leadFrames + segment.frameCount + tailFrames

  const address = kernels.arena.take(frames * frameBytes)
  const planes = Array.from({ length: channelCount }, () => takePlane(kernels, frames, false))
  const memory = kernels.memory.buffer
  for (let done = 0; done < frames; done += READ_SECONDS * sampleRateHz) {
    if (cancellation?.aborted) throw new Cancelled()
    const count = Math.min(READ_SECONDS * sampleRateHz, frames - done)
    const at = address + done * frameBytes
    source.readInto(new Uint8Array(memory, at, count * frameBytes), segment.firstFrame - leadFrames + done, count)
    for (const [channel, plane] of planes.entries()) {
      decodeChannel(kernels, { address: at, format, frameCount: count }, channel, plane, done)
    }
  }
  return {
    layout,
    sampleRateHz,
    programmeFrameCount,
    firstFrame: segment.firstFrame,
    frameCount: segment.frameCount,
    leadFrames,
    tailFrames,
    planes: planes.map((plane) => new Float32Array(memory, plane.address, frames)),
    words: {
      format,
      bytes: new Uint8Array(memory, address + leadFrames * frameBytes, segment.frameCount * frameBytes),
    },
  }
}
