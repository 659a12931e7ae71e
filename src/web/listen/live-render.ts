import {
  type AudioSource,
  bandTreatments,
  bytesPerFrame,
  type Cancellation,
  decodesMatrix,
  type FrameRange,
  frontSpreadOf,
  frontSpreadOver,
  type GainPlan,
  LAYOUTS,
  type LayoutName,
  type PlaneStore,
  type Segment,
  type UpmixPlan,
} from '../../domain/index.ts'
import {
  bandMarginFrames,
  decodeChannel,
  feedsLfe,
  type Kernels,
  takePlane,
  upmixHopFrames,
  writeFronts,
  writeMatrixFronts,
} from '../../dsp/index.ts'
import { foldSegment, type RenderJob, renderSegment, upmixSegment } from '../../engine/render/index.ts'
import type { Chunk, SignalName, SignalPlanes } from './chunk.ts'
import { type PlanesPiece, pieceOf, segmentsOver, storeOf } from './upmix-planes.ts'

/** What a programme is to be heard as. */
export type Wishes = {
  readonly upmix: UpmixPlan | null
  readonly gain: GainPlan | null
  /** Names the gains: it is written on what was made by them. */
  readonly planNumber: number
}

/** No requirement of the ceiling farther back or ahead has a say. @source docs/decisions/0014 */
const CEILING_SECONDS = { before: 1, after: 0.1 } as const
/** Hops that what is upmixed begins at a multiple of, whatever it is cut from. */
const UPMIX_GRID_HOPS = 16
/** Upmixed segments that are kept: what is heard next lies in two at most, and where a loop goes back in two more. */
const KEPT_SEGMENTS = 4
/** Reach of the quarter turn of Lt/Rt on each side, in seconds, and some more. */
const TURN_SECONDS = 0.02

/**
 * Makes what is heard, by the functions that a delivery is rendered by. Of a chunk that is made from whole upmixed
 * segments, or of a source that keeps its layout, every sample of `fitted` is the word of a 24-bit delivery.
 */
export class LiveRender {
  readonly #kernels: Kernels
  /** As it was measured, and the two tracks that an upmix starts from, mended where that was asked for. */
  readonly #source: AudioSource
  readonly #master: AudioSource
  #wishes: Wishes = { upmix: null, gain: null, planNumber: 0 }
  readonly #segments = new Map<number, PlanesPiece>()

  constructor(kernels: Kernels, source: AudioSource, master: AudioSource) {
    this.#kernels = kernels
    this.#source = source
    this.#master = master
  }

  wish(wishes: Wishes): void {
    if (JSON.stringify(wishes.upmix) !== JSON.stringify(this.#wishes.upmix)) this.#segments.clear()
    this.#wishes = wishes
  }

  /** The upmixed segments that a chunk is made from and that are not there yet; none where nothing is upmixed. */
  missing(chunk: FrameRange): readonly Segment[] {
    if (this.#wishes.upmix === null) return []
    const { frameCount, format } = this.#master
    return segmentsOver(this.around(chunk), frameCount, format.sampleRateHz).filter(
      ({ index }) => !this.#segments.has(index),
    )
  }

  /** The frames of the master that upmixing a range reads. */
  reads({ startFrame, endFrame }: FrameRange): FrameRange {
    const halo = 2 * this.#rate + UPMIX_GRID_HOPS * upmixHopFrames(this.#rate)
    return { startFrame: startFrame - halo, endFrame: endFrame + halo }
  }

  /** The frames of the programme that a chunk is made from. */
  around(chunk: FrameRange): FrameRange {
    const { startFrame, endFrame } = this.#withTurn(chunk)
    const { gain } = this.#wishes
    const bands = gain === null ? 0 : bandTreatments(gain).length * bandMarginFrames(this.#rate)
    const { before, after } = CEILING_SECONDS
    const ceilings = (gain?.ceilingLink ?? null) === null ? 1 : 2
    return this.#inside(
      startFrame - bands - Math.ceil(ceilings * before * this.#rate),
      endFrame + bands + Math.ceil(ceilings * after * this.#rate),
    )
  }

  /** Upmixes a whole segment, as a delivery does, and keeps it. */
  upmix(segment: Segment, cancellation: Cancellation): void {
    const { upmix } = this.#wishes
    if (upmix === null) return
    const range = { startFrame: segment.firstFrame, endFrame: segment.firstFrame + segment.frameCount }
    this.#segments.set(segment.index, this.#piece(upmix, segment, range, cancellation))
    for (const index of this.#segments.keys()) {
      if (this.#segments.size <= KEPT_SEGMENTS) break
      if (index !== segment.index) this.#segments.delete(index)
    }
  }

  /** Everything that a stretch can be heard as. What of it is not upmixed yet is upmixed for itself, which differs by less than -120 dBFS. */
  chunk({ startFrame, endFrame }: FrameRange): Chunk {
    const range = { startFrame, endFrame: Math.min(endFrame, this.#source.frameCount) }
    const { upmix, gain, planNumber } = this.#wishes
    const { arena } = this.#kernels
    const mark = arena.mark()
    try {
      const isExact = this.missing(range).length === 0
      const store = upmix === null ? null : this.#store(upmix, range)
      const heard = this.#withTurn(range)
      const signals: Partial<Record<SignalName, SignalPlanes>> = {
        source: this.#turned(this.#decoded(this.#source, heard), this.#source.layout, heard, range),
      }
      if (upmix !== null && store !== null) {
        signals.upmix = this.#turned(this.#upmixed(upmix, store, heard), '5.1', heard, range)
      }
      if (gain !== null) {
        const layout = upmix === null ? this.#source.layout : '5.1'
        signals.fitted = this.#turned(this.#fitted(upmix, gain, store, heard), layout, heard, range)
      }
      const frameCount = range.endFrame - range.startFrame
      return { firstFrame: range.startFrame, frameCount, planNumber, isExact, signals }
    } finally {
      arena.release(mark)
    }
  }

  get #rate(): number {
    return this.#source.format.sampleRateHz
  }

  #inside(startFrame: number, endFrame: number): FrameRange {
    return { startFrame: Math.max(0, startFrame), endFrame: Math.min(this.#source.frameCount, endFrame) }
  }

  /** With what the turn of the surrounds reads; begins at a multiple of four, as what is rendered does. */
  #withTurn({ startFrame, endFrame }: FrameRange): FrameRange {
    const reach = Math.ceil((TURN_SECONDS * this.#rate) / 4) * 4
    return this.#inside(startFrame - reach, endFrame + reach)
  }

  /** The planes of an upmix around a chunk: of whole segments where they all are there, else made for it alone. */
  #store(upmix: UpmixPlan, chunk: FrameRange): PlaneStore {
    if (this.missing(chunk).length === 0) return storeOf([...this.#segments.values()])
    const around = this.around(chunk)
    const grid = UPMIX_GRID_HOPS * upmixHopFrames(this.#rate)
    const firstFrame = Math.floor(around.startFrame / grid) * grid
    const segment = { index: 0, firstFrame, frameCount: around.endFrame - firstFrame }
    return storeOf([this.#piece(upmix, segment, { startFrame: firstFrame, endFrame: around.endFrame })])
  }

  #piece(upmix: UpmixPlan, segment: Segment, range: FrameRange, cancellation?: Cancellation): PlanesPiece {
    const { arena } = this.#kernels
    const mark = arena.mark()
    try {
      return pieceOf(
        upmixSegment(this.#kernels, this.#master, segment, upmix, cancellation ? { cancellation } : {}),
        range,
      )
    } finally {
      arena.release(mark)
    }
  }

  #decoded(source: AudioSource, { startFrame, endFrame }: FrameRange): SignalPlanes {
    const { channelCount } = source.format
    const frameCount = endFrame - startFrame
    const bytes = new Uint8Array(frameCount * bytesPerFrame(source.format))
    source.readInto(bytes, startFrame, frameCount)
    return this.#planes(bytes, source.format, channelCount, frameCount)
  }

  /** Interleaved words as planes of float32, exact up to 24 bits. */
  #planes(words: Uint8Array, format: AudioSource['format'], channelCount: number, frameCount: number): SignalPlanes {
    const { arena, memory } = this.#kernels
    const mark = arena.mark()
    const address = arena.take(words.length)
    new Uint8Array(memory.buffer, address, words.length).set(words)
    const plane = takePlane(this.#kernels, frameCount, false)
    const planes = Array.from({ length: channelCount }, (_, channel) => {
      decodeChannel(this.#kernels, { address, format, frameCount }, channel, plane, 0)
      return new Float32Array(memory.buffer, plane.address, frameCount).slice()
    })
    arena.release(mark)
    return planes
  }

  /** The 5.1 before any gain. */
  #upmixed(upmix: UpmixPlan, store: PlaneStore, { startFrame, endFrame }: FrameRange): SignalPlanes {
    const { arena, memory } = this.#kernels
    const frameCount = endFrame - startFrame
    const mark = arena.mark()
    const take32 = () => new Float32Array(memory.buffer, arena.take(4 * frameCount), frameCount)
    const take64 = () => new Float64Array(memory.buffer, arena.take(8 * frameCount), frameCount)
    const [centre, leftSurround, rightSurround, lfe] = [0, 1, 2, 3].map((plane) => {
      const samples = take32()
      store.read(plane, startFrame, samples)
      return samples
    }) as [Float32Array, Float32Array, Float32Array, Float32Array]
    const [left, right] = this.#decoded(this.#master, { startFrame, endFrame }).map((plane) => {
      const track = take64()
      track.set(plane)
      return track
    }) as [Float64Array, Float64Array]
    const fronts = { left: take64(), right: take64() }
    const extracted = { centre, leftSurround, rightSurround }
    if (decodesMatrix(upmix.settings, upmix.reading)) {
      writeMatrixFronts(this.#kernels, { left, right }, extracted, fronts)
    } else {
      const spread = frontSpreadOver(frontSpreadOf(upmix), startFrame, frameCount)
      writeFronts(this.#kernels, { left, right }, extracted, spread, fronts)
    }
    const planes = [fronts.left, fronts.right, centre, lfe, leftSurround, rightSurround].map((plane) =>
      Float32Array.from(plane),
    )
    arena.release(mark)
    return planes
  }

  /** The words of a 24-bit delivery. */
  #fitted(
    upmix: UpmixPlan | null,
    gain: GainPlan,
    store: PlaneStore | null,
    { startFrame, endFrame }: FrameRange,
  ): SignalPlanes {
    const job: RenderJob = {
      source: upmix === null ? this.#source : this.#master,
      upmixed: store,
      hasLfe: upmix !== null && [upmix, ...upmix.scenes].some(({ settings }) => feedsLfe(settings)),
      frontSpread: upmix === null ? 1 : frontSpreadOf(upmix),
      isLtRt: upmix !== null && decodesMatrix(upmix.settings, upmix.reading),
      gain,
      encoding: 'int24',
      // Words of 24 bits are not dithered.
      ditherSeed: [0, 0],
      stereo: false,
    }
    const frameCount = endFrame - startFrame
    const { multichannel } = renderSegment(this.#kernels, job, { index: 0, firstFrame: startFrame, frameCount })
    const channelCount = LAYOUTS[upmix === null ? this.#source.layout : '5.1'].length
    const format = { encoding: 'int24', channelCount, sampleRateHz: this.#rate } as const
    return this.#planes(multichannel, format, channelCount, frameCount)
  }

  /** Cuts what was made around a chunk to it, and adds the turned sum of its surrounds. */
  #turned(planes: SignalPlanes, layout: LayoutName, around: FrameRange, chunk: FrameRange): SignalPlanes {
    const from = chunk.startFrame - around.startFrame
    const cut = planes.map((plane) => plane.slice(from, from + chunk.endFrame - chunk.startFrame))
    if (!hasSurrounds(layout)) return cut
    const surrounds = LAYOUTS[layout].map((role, channel) => (SURROUNDS.includes(role) ? planes[channel]! : null))
    const source = floatSource(surrounds, layout, planes[0]!.length, this.#rate)
    const segment = { index: 0, firstFrame: from, frameCount: chunk.endFrame - chunk.startFrame }
    const job = { source, to: 'lt-rt', gainDb: 0, encoding: 'float32', ditherSeed: [0, 0] } as const
    const folded = new Float32Array(foldSegment(this.#kernels, job, segment).words.buffer)
    // Of the surrounds alone Rt is what the turn gives, in the share of its law.
    return [...cut, Float32Array.from(cut[0]!, (_, frame) => folded[2 * frame + 1]!)]
  }
}

const SURROUNDS: readonly string[] = ['Ls', 'Rs', 'Lrs', 'Rrs']

export function hasSurrounds(layout: LayoutName): boolean {
  return LAYOUTS[layout].some((role) => SURROUNDS.includes(role))
}

/** Planes as a programme of float32; silent where there is no plane. */
function floatSource(
  planes: readonly (Float32Array | null)[],
  layout: LayoutName,
  frameCount: number,
  sampleRateHz: number,
): AudioSource {
  const channelCount = planes.length
  return {
    format: { encoding: 'float32', channelCount, sampleRateHz },
    layout,
    frameCount,
    readInto(bytes, frameIndex, count) {
      const samples = new Float32Array(count * channelCount)
      for (const [channel, plane] of planes.entries()) {
        if (plane === null) continue
        for (let frame = 0; frame < count; frame++) samples[frame * channelCount + channel] = plane[frameIndex + frame]!
      }
      bytes.set(new Uint8Array(samples.buffer))
    },
  }
}
