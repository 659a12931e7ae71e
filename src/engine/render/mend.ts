import { type AudioSource, assert, bytesPerFrame, type Segment } from '../../domain/index.ts'
import { decodeChannel, type Kernels, SHIFT_REACH, writeShifted } from '../../dsp/index.ts'

/** How the two tracks of a master are made from what lies in its file. */
export type Mending = {
  /** For each track: the channel it is taken from, its gain, and by how many frames it is brought forward. */
  readonly left: MendedTrack
  readonly right: MendedTrack
}

type MendedTrack = { readonly channel: number; readonly gain: number; readonly earlierFrames: number }

/** Makes one segment of the mended master, as interleaved float32 bytes. What a shift brings in from outside is silence. */
export function mendSegment(kernels: Kernels, source: AudioSource, segment: Segment, mending: Mending): Uint8Array {
  const out = new Float32Array(2 * segment.frameCount)
  for (const [track, { channel, gain, earlierFrames }] of [mending.left, mending.right].entries()) {
    const mark = kernels.arena.mark()
    const shift = Math.round(earlierFrames)
    const wanted = segment.firstFrame + shift - SHIFT_REACH
    const first = Math.max(0, wanted)
    const end = Math.min(source.frameCount, segment.firstFrame + segment.frameCount + shift + SHIFT_REACH)
    const plane = readChannel(kernels, source, channel, first, Math.max(0, end - first))
    const shifted = new Float64Array(segment.frameCount)
    writeShifted(plane, segment.firstFrame - first, earlierFrames, shifted)
    for (let n = 0; n < shifted.length; n++) out[2 * n + track] = gain * (shifted[n] as number)
    kernels.arena.release(mark)
  }
  return new Uint8Array(out.buffer)
}

const DECODED_AT_ONCE_FRAMES = 65536

function readChannel(
  kernels: Kernels,
  source: AudioSource,
  channel: number,
  firstFrame: number,
  frameCount: number,
): Float64Array {
  const { arena, memory } = kernels
  const { format } = source
  assert(channel < format.channelCount, 'a track is made from a channel that is there')
  const plane = new Float64Array(memory.buffer, arena.take(8 * frameCount), frameCount)
  const frameBytes = bytesPerFrame(format)
  const address = arena.take(DECODED_AT_ONCE_FRAMES * frameBytes)
  for (let done = 0; done < frameCount; done += DECODED_AT_ONCE_FRAMES) {
    const count = Math.min(DECODED_AT_ONCE_FRAMES, frameCount - done)
    source.readInto(new Uint8Array(memory.buffer, address, count * frameBytes), firstFrame + done, count)
    const pcm = { address, format, frameCount: count }
    decodeChannel(kernels, pcm, channel, { address: plane.byteOffset, isWide: true }, done)
  }
  return plane
}
