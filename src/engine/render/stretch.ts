import {
  type AudioSource,
  areBandsAtWork,
  bandTreatments,
  bytesPerFrame,
  FOLD_DOWN_K,
  foldDownCoefficients,
  frontSpreadOver,
  type GainPlan,
  hasFoldDown,
  LAYOUTS,
  type PlaneStore,
  type Role,
  type Segment,
} from '../../domain/index.ts'
import {
  bandMarginFrames,
  decodeChannel,
  type Kernels,
  type LinkedSignal,
  needsWidePlane,
  type Plane,
  takePlane,
  treatBands,
} from '../../dsp/index.ts'
import type { RenderJob } from './segment.ts'

/** Frames of the programme that are worked on together: a segment and what is heard around it. */
export type Stretch = {
  readonly firstFrame: number
  readonly frameCount: number
  readonly sampleRateHz: number
}

/** The planes of a stretch by role; of an upmix L and R are the stereo master's. */
export type Planes = Readonly<Partial<Record<Role, Plane>>>

/** No requirement farther back has a say: from 45 dB of reduction the ceiling is at rest again in 0.75 s. */
const SECONDS_BEFORE = 1
/** The look-ahead of all passes and their interpolators: 5 ms each. */
const SECONDS_AFTER = 0.1

const UPMIX_PLANES: readonly Role[] = ['C', 'Ls', 'Rs', 'LFE']
const DECODE_BYTES = 1 << 19

/** The segment alone, or with what the ceiling and the treatment of bands have to know around it. */
export function stretchAround(source: AudioSource, segment: Segment, gain: GainPlan): Stretch {
  const { sampleRateHz } = source.format
  // Groups that are limited by themselves are limited once more together.
  const ceilings = gain.ceilingDbtp === null ? 0 : (gain.ceilingLink ?? null) === null ? 1 : 2
  const bands = treatmentsNear(gain, segment, sampleRateHz) * bandMarginFrames(sampleRateHz)
  const before = bands + ceilings * SECONDS_BEFORE * sampleRateHz
  const after = bands + ceilings * SECONDS_AFTER * sampleRateHz
  const firstFrame = Math.max(0, segment.firstFrame - before)
  const end = Math.min(source.frameCount, segment.firstFrame + segment.frameCount + Math.ceil(after))
  return { firstFrame, frameCount: end - firstFrame, sampleRateHz }
}

/** How many treatments of bands, one behind the other, act in a segment or in what is heard around it. */
function treatmentsNear(gain: GainPlan, segment: Segment, sampleRateHz: number): number {
  const around = Math.ceil(2 * (SECONDS_BEFORE + SECONDS_AFTER) * sampleRateHz) + 2 * bandMarginFrames(sampleRateHz)
  const firstFrame = segment.firstFrame - around
  const frames = { firstFrame, frameCount: segment.frameCount + 2 * around, sampleRateHz }
  return bandTreatments(gain).filter((plan) => areBandsAtWork(plan, frames)).length
}

/** Turns bands of every plane but the LFE down, where the plan says so: the low end first. */
export function treatAllBands(
  kernels: Kernels,
  { gain }: Pick<RenderJob, 'gain'>,
  planes: Planes,
  stretch: Stretch,
): void {
  const mains = Object.entries(planes).flatMap(([role, plane]) => (role === 'LFE' ? [] : [plane]))
  for (const plan of bandTreatments(gain)) {
    if (areBandsAtWork(plan, stretch)) treatBands(kernels, { ...stretch, planes: mains }, plan, gain.programme)
  }
}

/**
 * A two-track master under the treatment of its bands alone: what the stereo of a delivery is the master of. In
 * kernel memory, for the frames of one segment.
 */
export function treatedMaster(kernels: Kernels, job: RenderJob, segment: Segment): AudioSource {
  const stretch = stretchAround(job.source, segment, { ...job.gain, ceilingDbtp: null })
  const planes = decodeSource(kernels, job.source, stretch)
  treatAllBands(kernels, job, planes, stretch)
  const { L, R } = planes as Required<Planes>
  const tracks = [L, R].map(
    ({ address, isWide }) =>
      new (isWide ? Float64Array : Float32Array)(kernels.memory.buffer, address, stretch.frameCount),
  ) as [Samples, Samples]
  return {
    ...job.source,
    format: { ...job.source.format, encoding: 'float64' },
    readInto(bytes, frameIndex, frameCount) {
      const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength)
      const first = frameIndex - stretch.firstFrame
      for (let i = 0; i < frameCount; i++) {
        view.setFloat64(16 * i, tracks[0][first + i] as number, true)
        view.setFloat64(16 * i + 8, tracks[1][first + i] as number, true)
      }
    },
  }
}

/** Reads a stretch of the source, and of the upmix if there is one, into planes of kernel memory. */
export function loadPlanes(kernels: Kernels, job: RenderJob, stretch: Stretch): Planes {
  const planes = decodeSource(kernels, job.source, stretch)
  if (job.upmixed === null) return planes
  const roles = UPMIX_PLANES.filter((role) => role !== 'LFE' || job.hasLfe)
  return { ...planes, ...readUpmix(kernels, job.upmixed, roles, stretch) }
}

function decodeSource(kernels: Kernels, source: AudioSource, stretch: Stretch): Planes {
  const { format } = source
  const isWide = needsWidePlane(format.encoding)
  const planes = LAYOUTS[source.layout].map(() => takePlane(kernels, stretch.frameCount, isWide))
  const mark = kernels.arena.mark()
  const frameBytes = bytesPerFrame(format)
  const blockFrames = Math.floor(DECODE_BYTES / frameBytes)
  const address = kernels.arena.take(DECODE_BYTES)
  for (let frame = 0; frame < stretch.frameCount; frame += blockFrames) {
    const frameCount = Math.min(blockFrames, stretch.frameCount - frame)
    const bytes = new Uint8Array(kernels.memory.buffer, address, frameCount * frameBytes)
    source.readInto(bytes, stretch.firstFrame + frame, frameCount)
    planes.forEach((plane, channel) => {
      decodeChannel(kernels, { address, format, frameCount }, channel, plane, frame)
    })
  }
  kernels.arena.release(mark)
  return Object.fromEntries(LAYOUTS[source.layout].map((role, channel) => [role, planes[channel]]))
}

function readUpmix(kernels: Kernels, store: PlaneStore, roles: readonly Role[], stretch: Stretch): Planes {
  return Object.fromEntries(
    roles.map((role, index) => {
      const plane = takePlane(kernels, stretch.frameCount, false)
      const samples = new Float32Array(kernels.memory.buffer, plane.address, stretch.frameCount)
      store.read(index, stretch.firstFrame, samples)
      return [role, plane]
    }),
  )
}

/**
 * What the ceiling guards. Of an upmix: L R C Ls Rs as they will be derived, the stereo that travels along, and where
 * the fronts are spread the fold-down that is no longer that stereo. Else: every channel but the LFE, and Lo/Ro.
 */
export function guardedSignals(
  kernels: Kernels,
  job: RenderJob,
  planes: Planes,
  stretch: Stretch,
): readonly LinkedSignal[] {
  if (job.upmixed === null) return nativeSignals(job.source, planes)
  const { L, R, C, Ls, Rs } = planes as Required<Planes>
  const alone = [L, R, C, Ls, Rs].map((plane) => [{ plane, weight: 1 }])
  if (job.isLtRt) return [...alone, ...matrixSignals({ L, R, C, Ls, Rs })]
  const front = (stereo: Plane, surround: Plane): LinkedSignal => [
    { plane: stereo, weight: 1 },
    { plane: C, weight: -FOLD_DOWN_K },
    { plane: surround, weight: -FOLD_DOWN_K },
  ]
  const [left, right] = [front(L, Ls), front(R, Rs)]
  const spread = frontSpreadOver(job.frontSpread, stretch.firstFrame, stretch.frameCount)
  if (spread === 1) return [...alone, left, right]
  // What the spread adds to the left and takes from the right: it is in the fronts, and in the fold-down too.
  const added = spreadDifference(kernels, { L, R, Ls, Rs }, spread, stretch.frameCount)
  const withAdded = (signal: LinkedSignal, weight: 1 | -1): LinkedSignal => [...signal, { plane: added, weight }]
  const lo = withAdded([{ plane: L, weight: 1 }], 1)
  const ro = withAdded([{ plane: R, weight: 1 }], -1)
  return [...alone, withAdded(left, 1), withAdded(right, -1), lo, ro]
}

/** The fronts that the law of Lt/Rt leaves, and the Lo/Ro fold-down, which is not the Lt/Rt. */
function matrixSignals({
  L,
  R,
  C,
  Ls,
  Rs,
}: Readonly<Record<'L' | 'R' | 'C' | 'Ls' | 'Rs', Plane>>): readonly LinkedSignal[] {
  const k = FOLD_DOWN_K
  const of = (front: Plane, centre: number, toLs: number, toRs: number): LinkedSignal =>
    [
      { plane: front, weight: 1 },
      { plane: C, weight: centre },
      { plane: Ls, weight: toLs },
      { plane: Rs, weight: toRs },
    ].filter(({ weight }) => weight !== 0)
  return [of(L, -k, k, k), of(R, -k, -k, -k), of(L, 0, 2 * k, k), of(R, 0, -k, 0)]
}

/** (spread - 1) / 2 of the difference between the fronts, left over right. */
function spreadDifference(
  kernels: Kernels,
  { L, R, Ls, Rs }: Readonly<Record<'L' | 'R' | 'Ls' | 'Rs', Plane>>,
  spread: number | Float64Array,
  frameCount: number,
): Plane {
  const plane = takePlane(kernels, frameCount, false)
  const samples = (of: Plane) =>
    new (of.isWide ? Float64Array : Float32Array)(kernels.memory.buffer, of.address, frameCount)
  const [added, left, right, leftSurround, rightSurround] = [plane, L, R, Ls, Rs].map(samples) as SpreadPlanes
  for (let i = 0; i < frameCount; i++) {
    const front = (left[i] as number) - (right[i] as number)
    const surround = (leftSurround[i] as number) - (rightSurround[i] as number)
    const factor = typeof spread === 'number' ? spread : (spread[i] as number)
    added[i] = ((factor - 1) / 2) * (front - FOLD_DOWN_K * surround)
  }
  return plane
}

type SpreadPlanes = [Samples, Samples, Samples, Samples, Samples]
type Samples = Float32Array | Float64Array

function nativeSignals(source: AudioSource, planes: Planes): readonly LinkedSignal[] {
  const { layout } = source
  const roles = LAYOUTS[layout]
  const alone = roles
    .filter((role) => role !== 'LFE')
    .map((role): LinkedSignal => [{ plane: planes[role] as Plane, weight: 1 }])
  if (!hasFoldDown(layout)) return alone
  const sides = ([0, 1] as const).map(
    (side): LinkedSignal =>
      foldDownCoefficients(layout)
        .map((toSides, channel) => ({ plane: planes[roles[channel] as Role] as Plane, weight: toSides[side] }))
        .filter(({ weight }) => weight !== 0),
  )
  return [...alone, ...sides]
}
