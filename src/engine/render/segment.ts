import {
  type AudioSource,
  type Cancellation,
  Cancelled,
  ceilingOfLfe,
  dbToGain,
  type FrontSpread,
  framesPerHop,
  type GainPlan,
  type PlaneStore,
  type Segment,
} from '../../domain/index.ts'
import {
  holdUnityOutside,
  type Kernels,
  keepBelowCeiling,
  type LinkedSignal,
  multiplyGains,
  takeGain,
  writeGain,
} from '../../dsp/index.ts'
import { CEILING_AT_REST, type CeilingAction, type CeilingAlteration, describeCeiling } from './alteration.ts'
import { guardedSignals, loadPlanes, type Stretch, stretchAround, treatAllBands } from './stretch.ts'
import { quantiseSegment, takeWords, type WordsRoom } from './words.ts'

/** What is rendered, and by which plan; the same for every segment of a programme. */
export type RenderJob = {
  /** The stereo master of an upmix, else the programme itself, in any layout. */
  readonly source: AudioSource
  /** Planes 0 C, 1 Ls, 2 Rs and, if `hasLfe`, 3 LFE of the whole programme; null: the source keeps its layout. */
  readonly upmixed: PlaneStore | null
  readonly hasLfe: boolean
  /** Scale of the side of the derived fronts; 1 keeps the fold-down lock. */
  readonly frontSpread: FrontSpread
  /** The two tracks of an upmix are Lt/Rt: the fronts are what its law leaves, and the stereo is the Lt/Rt. */
  readonly isLtRt: boolean
  readonly gain: GainPlan
  readonly encoding: 'int16' | 'int24'
  /** Two 32-bit numbers of the source's hash, so that the same source gets the same dither. */
  readonly ditherSeed: readonly [number, number]
  /** Also make the stereo, Lo/Ro or the Lt/Rt; without effect where the layout has no fold-down. */
  readonly stereo: boolean
}

export type RenderedSegment = {
  /** Interleaved words in the order of `LAYOUTS`: 5.1 of an upmix, else the source's layout. */
  readonly multichannel: Uint8Array
  readonly stereo: Uint8Array | null
  /** Total gain of each frame, linear: static x ride x ceiling. */
  readonly gain: Float64Array
  /** The same of the LFE, whose ceiling is its own; null where there is no LFE. */
  readonly lfeGain: Float64Array | null
  readonly alteration: CeilingAlteration
  /** Samples that did not fit the word and were held at its end; 0 under a ceiling at or below full scale. */
  readonly overs: number
  /** Surround words moved by one step because a front lay on a rounding tie. */
  readonly nearTies: number
}

/**
 * Room for dither and rounding: a derived 16-bit front carries 0.8 steps RMS of them, an interpolated peak about as
 * much, and no peak will be lifted by eleven times that. At 24 bit it is nothing (0.00001 dB at -2 dBTP).
 */
const QUANTISING_STEPS = 9

/**
 * Renders one segment: bands, static gain and ride, then the ceiling, then the words. The bytes depend on the job and the
 * frames alone: any grid of segments that begin at multiples of four frames gives the same programme. Words and gain
 * lie in kernel memory and hold until the caller releases the arena. What else it takes it gives back: for each frame of
 * the segment and 1.2 s around it 36 bytes, and 4 more a channel (8 from 32-bit integers and doubles). Throws
 * `Cancelled` between stages; refuses nothing.
 * @source docs/decisions/0008 (words), docs/decisions/0014 (ceiling)
 */
export function renderSegment(
  kernels: Kernels,
  job: RenderJob,
  segment: Segment,
  cancellation?: Cancellation,
): RenderedSegment {
  const room = { ...takeWords(kernels, job, segment), gain: takeFrames(kernels, segment) }
  const mark = kernels.arena.mark()
  try {
    return render(kernels, job, segment, room, cancellation)
  } finally {
    kernels.arena.release(mark)
  }
}

function render(
  kernels: Kernels,
  job: RenderJob,
  segment: Segment,
  room: WordsRoom & Pick<RenderedSegment, 'gain'>,
  cancellation: Cancellation | undefined,
): RenderedSegment {
  const stretch = stretchAround(job.source, segment, job.gain)
  const planes = loadPlanes(kernels, job, stretch)
  treatAllBands(kernels, job, planes, stretch)
  throwIfCancelled(cancellation)
  const common = takeGain(kernels, stretch.frameCount)
  writeGain(kernels, job.gain, stretch.sampleRateHz, stretch, common)
  holdUnityOutside(kernels, job.gain.programme, stretch, common)
  const guarded = guardedSignals(kernels, job, planes, stretch)
  const slow = job.gain.slowCeiling
  const { ceilingDbtp } = job.gain
  const linkedLine = { ceilingDbtp, slowDb: slow?.linkedDb ?? null }
  const linked = underCeiling(kernels, job, guarded.linked, linkedLine, stretch, segment, common)
  throwIfCancelled(cancellation)
  const ofLfe = lfeGainOf(kernels, job, stretch, common)
  const lfeLine = { ceilingDbtp: ceilingOfLfe(job.gain), slowDb: slow?.lfeDb ?? null }
  const lfe =
    guarded.lfe.length === 0 ? null : underCeiling(kernels, job, guarded.lfe, lfeLine, stretch, segment, ofLfe)
  throwIfCancelled(cancellation)
  const lfeGain = lfe?.gain ?? ofLfe
  const words = quantiseSegment(kernels, job, segment, { planes, stretch, gain: linked.gain, lfeGain }, room)
  const { gain } = room
  gain.set(gainOf(kernels, linked.gain, stretch, segment))
  return {
    ...words,
    gain,
    lfeGain:
      lfe === null ? null : lfe.gain === linked.gain ? gain : gainOf(kernels, lfe.gain, stretch, segment).slice(),
    alteration: { ...linked.action, lfe: lfe?.action ?? null },
  }
}

/** Static gain and ride of the LFE: those of the others, and its own ride where it has one. */
function lfeGainOf(kernels: Kernels, { gain }: RenderJob, stretch: Stretch, common: number): number {
  const { staticGainDb, rideDb, lfeRideDb = null, programme } = gain
  if (lfeRideDb === null) return common
  const both = rideDb === null ? lfeRideDb : rideDb.map((db, hop) => db + (lfeRideDb[hop] as number))
  const address = takeGain(kernels, stretch.frameCount)
  writeGain(kernels, { staticGainDb, rideDb: both, ceilingDbtp: null }, stretch.sampleRateHz, stretch, address)
  holdUnityOutside(kernels, programme, stretch, address)
  return address
}

/**
 * Lets a ceiling act on signals that share one gain, its planned slow part first: address of their total gain, and
 * what the ceiling took.
 */
function underCeiling(
  kernels: Kernels,
  job: RenderJob,
  signals: readonly LinkedSignal[],
  { ceilingDbtp, slowDb }: { readonly ceilingDbtp: number | null; readonly slowDb: Float64Array | null },
  stretch: Stretch,
  segment: Segment,
  common: number,
): { readonly gain: number; readonly action: CeilingAction } {
  if (ceilingDbtp === null) return { gain: common, action: CEILING_AT_REST }
  const step = job.encoding === 'int16' ? 1 / 32768 : 1 / 8388608
  const ceiling = dbToGain(ceilingDbtp)
  const ceilingGain = takeGain(kernels, stretch.frameCount)
  const isSlowAtWork = writeSlowPart(kernels, slowDb, stretch, ceilingGain)
  const isFastAtWork = keepBelowCeiling(kernels, {
    signals,
    frameCount: stretch.frameCount,
    sampleRateHz: stretch.sampleRateHz,
    commonGain: common,
    ceilingGain,
    ceiling: Math.max(ceiling - QUANTISING_STEPS * step, ceiling / 2),
  })
  if (!isSlowAtWork && !isFastAtWork) return { gain: common, action: CEILING_AT_REST }
  holdUnityOutside(kernels, job.gain.programme, stretch, ceilingGain)
  const action = describeCeiling(kernels, ceilingGain, stretch, segment)
  return { gain: multiplyGains(kernels, common, ceilingGain, stretch.frameCount, ceilingGain), action }
}

/** The slow part of a ceiling over a stretch; false, and unity, where it rests. */
function writeSlowPart(kernels: Kernels, slowDb: Float64Array | null, stretch: Stretch, address: number): boolean {
  if (slowDb === null) return false
  const { firstFrame, frameCount, sampleRateHz } = stretch
  const hop = framesPerHop(sampleRateHz)
  const first = Math.max(0, Math.floor(firstFrame / hop) - 1)
  const points = slowDb.subarray(first, Math.ceil((firstFrame + frameCount) / hop) + 1)
  if (points.every((db) => db === 0)) return false
  writeGain(kernels, { staticGainDb: 0, rideDb: slowDb, ceilingDbtp: null }, sampleRateHz, stretch, address)
  return true
}

function gainOf(kernels: Kernels, address: number, stretch: Stretch, segment: Segment): Float64Array {
  const first = segment.firstFrame - stretch.firstFrame
  return new Float64Array(kernels.memory.buffer, address + 8 * first, segment.frameCount)
}

function takeFrames(kernels: Kernels, { frameCount }: Segment): Float64Array {
  return new Float64Array(kernels.memory.buffer, kernels.arena.take(8 * frameCount), frameCount)
}

function throwIfCancelled(cancellation: Cancellation | undefined): void {
  if (cancellation?.aborted) throw new Cancelled()
}
