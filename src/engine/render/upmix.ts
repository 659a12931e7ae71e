import {
  type AudioSource,
  assert,
  bytesPerFrame,
  type Cancellation,
  decodesMatrix,
  type FrameRange,
  type SeenMoment,
  type Segment,
  type SourceReading,
  shareAt,
  soundingRange,
  stretchesWithin,
  type UpmixPlan,
  type UpmixStretch,
  upmixStretches,
} from '../../domain/index.ts'
import {
  decodeChannel,
  type Extracted,
  extract,
  feedsLfe,
  type Kernels,
  type Tracks,
  upmixHopFrames,
} from '../../dsp/index.ts'

/**
 * The two tracks of a stretch and what the upmix takes out of them; float64 and float32 planes in kernel memory, all of
 * one length. They hold until the arena is released to a mark set before.
 */
export type UpmixedSegment = Tracks &
  Extracted & {
    /** Frame of the programme where the planes begin: 96 hops (0.5 s) before the segment, or the programme's start. */
    readonly firstFrame: number
  }

/** Asks what each set of settings that sounds at a frame of the segment sees there. */
export type SegmentWatch = { readonly frame: number; seen(stretch: UpmixStretch, moment: SeenMoment): void }

/** Hops read beyond the segment on each side, so that its signals do not depend on where the programme is cut. */
const HALO_HOPS = 192
/** Hops handed out on each side. The rest of the halo is what the weights and filters need to settle. */
const MARGIN_HOPS = 96
const DECODED_AT_ONCE_FRAMES = 65536

/** Weights hold for two transforms at a time, so what is extracted begins at an even one whatever it is cut from. */
const HOPS_PER_WEIGHTS = 2
/** The same of the decoder of Lt/Rt, whose hops are longer. */
const HOPS_PER_DECODED = 16

/**
 * Upmixes one segment of a two-track programme. The planes reach 96 hops (0.51 s at 48 kHz, never under 0.5 s) beyond the
 * segment on both sides, or to the programme's edge: there too they agree with the neighbouring segment's to -120 dBFS.
 * The unit of work is the segment with its halo, so that the same frames come out whatever the number of workers.
 * Where the plan changes its settings, each set extracts what it is heard in and the signals are mixed.
 * `through` (a stem of the mix, same rate and length) goes through the weights that the source gives, and `left`, `right`
 * and the rest are then the stem's. Restrictions: both are 2.0. Throws `Cancelled`.
 */
export function upmixSegment(
  kernels: Kernels,
  source: AudioSource,
  segment: Segment,
  plan: UpmixPlan,
  options: {
    readonly through?: AudioSource
    readonly watch?: SegmentWatch
    readonly cancellation?: Cancellation
  } = {},
): UpmixedSegment {
  const { through } = options
  const { sampleRateHz } = source.format
  const hop = upmixHopFrames(sampleRateHz)
  const segmentEnd = segment.firstFrame + segment.frameCount
  const around = (hops: number): FrameRange => ({
    startFrame: Math.max(0, segment.firstFrame - hops * hop),
    endFrame: Math.min(source.frameCount, segmentEnd + hops * hop),
  })
  const read = around(HALO_HOPS)
  const handedOut = around(MARGIN_HOPS)
  const frameCount = read.endFrame - read.startFrame
  const tracks = readTracks(kernels, source, read.startFrame, frameCount)
  const carried = through === undefined ? undefined : readTracks(kernels, through, read.startFrame, frameCount)
  const heard = carried ?? tracks
  const ground = {
    ...options,
    kernels,
    sampleRateHz,
    read,
    handedOut,
    tracks,
    ...(carried && { carried }),
    ...(plan.reading && { reading: plan.reading }),
  }
  const stretches = stretchesWithin(upmixStretches(plan), handedOut)
  const extracted = stretches.length === 1 ? extractAll(ground, stretches[0] as UpmixStretch) : mix(ground, stretches)
  return {
    firstFrame: handedOut.startFrame,
    left: part(heard.left, read, handedOut),
    right: part(heard.right, read, handedOut),
    ...extracted,
  }
}

/** What of a segment is read, what is handed out, and the tracks that lie in memory. */
type Ground = {
  readonly kernels: Kernels
  readonly sampleRateHz: number
  readonly read: FrameRange
  readonly handedOut: FrameRange
  readonly tracks: Tracks
  readonly carried?: Tracks
  readonly reading?: SourceReading
  readonly watch?: SegmentWatch
  readonly cancellation?: Cancellation
}

/** Frames `within` of a plane that holds the frames `of` the programme. */
function part<T extends Float64Array | Float32Array>(plane: T, of: FrameRange, within: FrameRange): T {
  return plane.subarray(within.startFrame - of.startFrame, within.endFrame - of.startFrame) as T
}

function extractAll({ read, handedOut, watch, ...request }: Ground, stretch: UpmixStretch): Extracted {
  const firstFrame = read.startFrame
  const { settings } = stretch
  const watched = watchFrom(firstFrame, stretch, watch)
  const extracted = extract(request.kernels, { ...request, ...watched, settings, firstFrame })
  return mapPlanes(extracted, (plane) => plane && part(plane, read, handedOut))
}

/** The watch of a stretch that is extracted from `firstFrame` on, where it sounds at the frame asked for. */
function watchFrom(firstFrame: number, stretch: UpmixStretch, watch: SegmentWatch | undefined) {
  if (watch === undefined || shareAt(stretch, watch.frame) === 0) return {}
  const seen = (moment: SeenMoment): void =>
    watch.seen(stretch, {
      ...moment,
      startFrame: moment.startFrame + firstFrame,
      endFrame: moment.endFrame + firstFrame,
      onsetFrames: moment.onsetFrames.map((frame) => frame + firstFrame),
    })
  return { watch: { frame: watch.frame - firstFrame, seen } }
}

/** The signals of several sets of settings, each in its share. What a set costs more than another is its halo. */
function mix(ground: Ground, stretches: readonly UpmixStretch[]): Extracted {
  const { kernels, sampleRateHz, read, handedOut, tracks, carried, reading, cancellation } = ground
  const frameCount = handedOut.endFrame - handedOut.startFrame
  const takePlane = () =>
    new Float32Array(kernels.memory.buffer, kernels.arena.take(4 * frameCount), frameCount).fill(0)
  const hasLfe = stretches.some(({ settings }) => feedsLfe(settings))
  const mixed = {
    centre: takePlane(),
    leftSurround: takePlane(),
    rightSurround: takePlane(),
    lfe: hasLfe ? takePlane() : null,
  }
  const hop = upmixHopFrames(sampleRateHz)
  const settling = (HALO_HOPS - MARGIN_HOPS) * hop
  const isLtRt = stretches.some(({ settings }) => decodesMatrix(settings, reading))
  const step = (isLtRt ? HOPS_PER_DECODED : HOPS_PER_WEIGHTS) * hop
  for (const stretch of stretches) {
    const sounding = soundingRange(stretch)
    const first = Math.floor((sounding.startFrame - settling) / step) * step
    const own = {
      startFrame: Math.max(read.startFrame, first),
      endFrame: Math.min(read.endFrame, sounding.endFrame + settling),
    }
    const cut = ({ left, right }: Tracks): Tracks => ({ left: part(left, read, own), right: part(right, read, own) })
    const mark = kernels.arena.mark()
    const extracted = extract(kernels, {
      sampleRateHz,
      settings: stretch.settings,
      tracks: cut(tracks),
      ...(carried && { carried: cut(carried) }),
      ...(reading && { reading, firstFrame: own.startFrame }),
      ...watchFrom(own.startFrame, stretch, ground.watch),
      ...(cancellation && { cancellation }),
    })
    const heard = {
      startFrame: Math.max(handedOut.startFrame, sounding.startFrame),
      endFrame: Math.min(handedOut.endFrame, sounding.endFrame),
    }
    for (const name of ['centre', 'leftSurround', 'rightSurround', 'lfe'] as const) {
      const [from, to] = [extracted[name], mixed[name]]
      if (from !== null && to !== null) addShare(part(from, own, heard), part(to, handedOut, heard), stretch, heard)
    }
    kernels.arena.release(mark)
  }
  return mixed
}

function mapPlanes(
  { centre, leftSurround, rightSurround, lfe }: Extracted,
  of: <T extends Float32Array | null>(plane: T) => T,
): Extracted {
  return { centre: of(centre), leftSurround: of(leftSurround), rightSurround: of(rightSurround), lfe: of(lfe) }
}

/** Adds a signal in the share of its stretch; where nothing else sounds it stays what it is, to the bit. */
function addShare(from: Float32Array, to: Float32Array, stretch: UpmixStretch, { startFrame }: FrameRange): void {
  for (let i = 0; i < from.length; i++) {
    to[i] = (to[i] as number) + shareAt(stretch, startFrame + i) * (from[i] as number)
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
