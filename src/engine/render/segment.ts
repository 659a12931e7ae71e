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
  type Plane,
  takeGain,
  writeGain,
} from '../../dsp/index.ts'
import { CEILING_AT_REST, type CeilingAction, type CeilingAlteration, describeCeiling } from './alteration.ts'
import { type GroupedCeiling, limitGroups } from './grouped-ceiling.ts'
import { guardedSignals, loadPlanes, type Planes, type Stretch, stretchAround, treatAllBands } from './stretch.ts'
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
  const { linked, grouped } = underLinkedCeiling(kernels, job, planes, stretch, segment, common)
  throwIfCancelled(cancellation)
  const ofLfe = lfeGainOf(kernels, job, stretch, common)
  const lfe = planes.LFE === undefined ? null : underLfeCeiling(kernels, job, planes.LFE, stretch, segment, ofLfe)
  throwIfCancelled(cancellation)
  const lfeGain = lfe?.gain ?? ofLfe
  const gained = { planes, stretch, gain: linked.gain, lfeGain, isLimitedApart: grouped?.isChanged ?? null }
  const words = quantiseSegment(kernels, job, segment, gained, room)
  const { gain } = room
  gain.set(gainOf(kernels, linked.gain, stretch, segment))
  multiplyInto(gain, grouped?.stereoGain ?? null, segment.firstFrame - stretch.firstFrame)
  const isShared = lfe?.gain === linked.gain && (grouped?.stereoGain ?? null) === null
  return {
    ...words,
    gain,
    lfeGain: lfe === null ? null : isShared ? gain : gainOf(kernels, lfe.gain, stretch, segment).slice(),
    alteration: {
      ...linked.action,
      lfe: lfe?.action ?? null,
      groups: grouped?.groups ?? [],
      frontResidue: grouped?.frontResidueUnder(linked.gain) ?? null,
    },
  }
}

function multiplyInto(gain: Float64Array, other: Float64Array | null, from: number): void {
  if (other === null) return
  for (let i = 0; i < gain.length; i++) gain[i] = (gain[i] as number) * (other[from + i] as number)
}

/** The ceiling of all channels but the LFE and of the stereo: where they are not all linked, groups go first. */
function underLinkedCeiling(
  kernels: Kernels,
  job: RenderJob,
  planes: Planes,
  stretch: Stretch,
  segment: Segment,
  common: number,
): { readonly linked: Limited; readonly grouped: GroupedCeiling | null } {
  const { ceilingDbtp, ceilingLink = null, slowCeiling } = job.gain
  const opened = openCeiling(kernels, job, { ceilingDbtp, slowDb: slowCeiling?.linkedDb ?? null }, stretch)
  if (opened === null) return { linked: { gain: common, action: CEILING_AT_REST }, grouped: null }
  let grouped: GroupedCeiling | null = null
  if (ceilingLink !== null) {
    const soFar = opened.isSlowAtWork ? takeGain(kernels, stretch.frameCount) : common
    if (opened.isSlowAtWork) multiplyGains(kernels, common, opened.gain, stretch.frameCount, soFar)
    const given = { stretch, segment, common: soFar, ceiling: opened.ceiling }
    grouped = limitGroups(kernels, job, ceilingLink, planes, given)
  }
  const signals = guardedSignals(kernels, job, planes, stretch)
  return { linked: underCeiling(kernels, job, signals, opened, stretch, segment, common), grouped }
}

function underLfeCeiling(
  kernels: Kernels,
  job: RenderJob,
  plane: Plane,
  stretch: Stretch,
  segment: Segment,
  common: number,
): Limited {
  const line = { ceilingDbtp: ceilingOfLfe(job.gain), slowDb: job.gain.slowCeiling?.lfeDb ?? null }
  const opened = openCeiling(kernels, job, line, stretch)
  if (opened === null) return { gain: common, action: CEILING_AT_REST }
  return underCeiling(kernels, job, [[{ plane, weight: 1 }]], opened, stretch, segment, common)
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

/** A ceiling before its fast part: address of a gain that holds its slow part, and where it stands, linear. */
type OpenedCeiling = { readonly gain: number; readonly isSlowAtWork: boolean; readonly ceiling: number }

function openCeiling(
  kernels: Kernels,
  job: RenderJob,
  { ceilingDbtp, slowDb }: { readonly ceilingDbtp: number | null; readonly slowDb: Float64Array | null },
  stretch: Stretch,
): OpenedCeiling | null {
  if (ceilingDbtp === null) return null
  const step = job.encoding === 'int16' ? 1 / 32768 : 1 / 8388608
  const asked = dbToGain(ceilingDbtp)
  const gain = takeGain(kernels, stretch.frameCount)
  const isSlowAtWork = writeSlowPart(kernels, slowDb, stretch, gain)
  return { gain, isSlowAtWork, ceiling: Math.max(asked - QUANTISING_STEPS * step, asked / 2) }
}

/** Address of the total gain of signals, and what their ceiling took of it. */
type Limited = { readonly gain: number; readonly action: CeilingAction }

/** Lets a ceiling act on signals that share one gain, its planned slow part first. */
function underCeiling(
  kernels: Kernels,
  job: RenderJob,
  signals: readonly LinkedSignal[],
  { gain: ceilingGain, isSlowAtWork, ceiling }: OpenedCeiling,
  stretch: Stretch,
  segment: Segment,
  common: number,
): Limited {
  const { frameCount, sampleRateHz } = stretch
  const asked = { signals, frameCount, sampleRateHz, commonGain: common, ceilingGain, ceiling }
  const isFastAtWork = keepBelowCeiling(kernels, asked)
  if (!isSlowAtWork && !isFastAtWork) return { gain: common, action: CEILING_AT_REST }
  holdUnityOutside(kernels, job.gain.programme, stretch, ceilingGain)
  const action = describeCeiling(kernels, ceilingGain, stretch, segment)
  return { gain: multiplyGains(kernels, common, ceilingGain, frameCount, ceilingGain), action }
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
