import {
  type AudioSource,
  assert,
  bytesPerFrame,
  type Cancellation,
  type Segment,
  type UpmixSettings,
} from '../../domain/index.ts'
import { decodeChannel, type Extracted, extract, type Kernels, type Tracks, upmixHopFrames } from '../../dsp/index.ts'

/**
 * The two tracks of a stretch and what the upmix takes out of them; float64 and float32 planes in kernel memory, all of
 * one length. They hold until the arena is released to a mark set before.
 */
export type UpmixedSegment = Tracks &
  Extracted & {
    /** Frame of the programme where the planes begin: 96 hops (0.5 s) before the segment, or the programme's start. */
    readonly firstFrame: number
  }

/** Hops read beyond the segment on each side, so that its signals do not depend on where the programme is cut. */
const HALO_HOPS = 192
/** Hops handed out on each side. The rest of the halo is what the weights and filters need to settle. */
const MARGIN_HOPS = 96
const DECODED_AT_ONCE_FRAMES = 65536

/**
 * Upmixes one segment of a two-track programme. The planes reach 96 hops (0.51 s at 48 kHz, never under 0.5 s) beyond the
 * segment on both sides, or to the programme's edge: there too they agree with the neighbouring segment's to -120 dBFS.
 * The unit of work is the segment with its halo, so that the same frames come out whatever the number of workers.
 * `through` (a stem of the mix, same rate and length) goes through the weights that the source gives, and `left`, `right`
 * and the rest are then the stem's. Restrictions: both are 2.0. Throws `Cancelled`.
 */
export function upmixSegment(
  kernels: Kernels,
  source: AudioSource,
  segment: Segment,
  settings: UpmixSettings,
  options: { readonly through?: AudioSource; readonly cancellation?: Cancellation } = {},
): UpmixedSegment {
  const { through, cancellation } = options
  const { sampleRateHz } = source.format
  const hop = upmixHopFrames(sampleRateHz)
  const segmentEnd = segment.firstFrame + segment.frameCount
  const first = Math.max(0, segment.firstFrame - HALO_HOPS * hop)
  const end = Math.min(source.frameCount, segmentEnd + HALO_HOPS * hop)
  const tracks = readTracks(kernels, source, first, end - first)
  const carried = through === undefined ? undefined : readTracks(kernels, through, first, end - first)
  const extracted = extract(kernels, {
    sampleRateHz,
    settings,
    tracks,
    ...(carried && { carried }),
    ...(cancellation && { cancellation }),
  })

  const firstFrame = Math.max(0, segment.firstFrame - MARGIN_HOPS * hop)
  const endFrame = Math.min(source.frameCount, segmentEnd + MARGIN_HOPS * hop)
  const part = <T extends Float64Array | Float32Array>(plane: T): T =>
    plane.subarray(firstFrame - first, endFrame - first) as T
  const heard = carried ?? tracks
  return {
    firstFrame,
    left: part(heard.left),
    right: part(heard.right),
    centre: part(extracted.centre),
    leftSurround: part(extracted.leftSurround),
    rightSurround: part(extracted.rightSurround),
    lfe: extracted.lfe === null ? null : part(extracted.lfe),
  }
}

function readTracks(kernels: Kernels, source: AudioSource, firstFrame: number, frameCount: number): Tracks {
  assert(source.layout === '2.0', `an upmix starts from two tracks, not from ${source.layout}`)
  const { arena, memory } = kernels
  const takeTrack = () =>
    new Float64Array(memory.buffer, arena.take(frameCount * Float64Array.BYTES_PER_ELEMENT), frameCount)
  const tracks = { left: takeTrack(), right: takeTrack() }
  const mark = arena.mark()
  const frameBytes = bytesPerFrame(source.format)
  const address = arena.take(DECODED_AT_ONCE_FRAMES * frameBytes)
  for (let done = 0; done < frameCount; done += DECODED_AT_ONCE_FRAMES) {
    const count = Math.min(DECODED_AT_ONCE_FRAMES, frameCount - done)
    source.readInto(new Uint8Array(memory.buffer, address, count * frameBytes), firstFrame + done, count)
    const pcm = { address, format: source.format, frameCount: count }
    decodeChannel(kernels, pcm, 0, { address: tracks.left.byteOffset, isWide: true }, done)
    decodeChannel(kernels, pcm, 1, { address: tracks.right.byteOffset, isWide: true }, done)
  }
  arena.release(mark)
  return tracks
}
