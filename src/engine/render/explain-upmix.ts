import {
  type AudioSource,
  type Cancellation,
  decodesMatrix,
  delayAt,
  frontSpreadOf,
  frontSpreadOver,
  type HeardSettings,
  type MadeBand,
  powerToDb,
  type SeenMoment,
  type Segment,
  shareAt,
  type UpmixMoment,
  type UpmixPlan,
  type UpmixScene,
  type UpmixStretch,
} from '../../domain/index.ts'
import { bandPowers, type Kernels, writeFronts, writeMatrixFronts } from '../../dsp/index.ts'
import { type UpmixedSegment, upmixSegment } from './upmix.ts'

/**
 * What an upmix sees and makes at one frame of a segment: the segment is upmixed as it is for a render, and looked at
 * there. The made levels are those before any gain, through the windows of the transforms behind the weights.
 */
export function explainUpmix(
  kernels: Kernels,
  source: AudioSource,
  segment: Segment,
  plan: UpmixPlan,
  frame: number,
  cancellation?: Cancellation,
): UpmixMoment {
  const heard: HeardSettings[] = []
  const seen = (stretch: UpmixStretch, saw: SeenMoment): void => {
    const scene = sceneOf(plan, stretch, frame)
    heard.push({
      scene: scene?.name ?? null,
      isScene: scene !== undefined,
      share: shareAt(stretch, frame),
      settings: stretch.settings,
      saw,
    })
  }
  const upmixed = upmixSegment(kernels, source, segment, plan, {
    watch: { frame, seen },
    ...(cancellation && { cancellation }),
  })
  heard.sort((a, b) => b.share - a.share)
  const { saw } = heard[0] as HeardSettings
  const { sampleRateHz } = source.format
  const bands = madeBands(channelPowers(kernels, sampleRateHz, plan, upmixed, saw))
  return {
    frame,
    startFrame: saw.startFrame,
    endFrame: saw.endFrame,
    isLtRt: decodesMatrix(plan.settings, plan.reading),
    azimuthMicroseconds: plan.reading === undefined ? 0 : delayAt(plan.reading.delay, frame),
    heard,
    ...bands,
  }
}

/** The scene whose settings a stretch has at a frame, or beside a frame to which it glides. */
function sceneOf({ scenes }: UpmixPlan, { startFrame, endFrame }: UpmixStretch, frame: number): UpmixScene | undefined {
  const own = scenes.filter((scene) => scene.startFrame < endFrame && startFrame < scene.endFrame)
  if (frame < startFrame) return own[0]
  if (frame >= endFrame) return own.at(-1)
  return own.find((scene) => scene.startFrame <= frame && frame < scene.endFrame)
}

const NAMES = ['left', 'right', 'L', 'R', 'C', 'LFE', 'Ls', 'Rs'] as const
type Powers = Record<(typeof NAMES)[number], number>

/** Mean squares of the master and of the six channels in each band of a moment. */
function channelPowers(
  kernels: Kernels,
  sampleRateHz: number,
  plan: UpmixPlan,
  upmixed: UpmixedSegment,
  saw: SeenMoment,
): readonly { readonly midHz: number; readonly powers: Powers }[] {
  const { arena, memory } = kernels
  const { left, right, centre, leftSurround, rightSurround, lfe, firstFrame } = upmixed
  const mark = arena.mark()
  const frameCount = saw.endFrame - saw.startFrame
  const from = Math.max(0, saw.startFrame - firstFrame)
  const to = Math.min(left.length, saw.endFrame - firstFrame)
  const takePlane = (length: number) =>
    new Float64Array(memory.buffer, arena.take(length * Float64Array.BYTES_PER_ELEMENT), length).fill(0)
  const part = <T extends Float64Array | Float32Array>(plane: T): T => plane.subarray(from, to) as T
  const fronts = { left: takePlane(to - from), right: takePlane(to - from) }
  const extracted = {
    centre: part(centre),
    leftSurround: part(leftSurround),
    rightSurround: part(rightSurround),
  }
  const tracks = { left: part(left), right: part(right) }
  if (decodesMatrix(plan.settings, plan.reading)) writeMatrixFronts(kernels, tracks, extracted, fronts)
  else {
    const spread = frontSpreadOver(frontSpreadOf(plan), firstFrame + from, to - from)
    writeFronts(kernels, tracks, extracted, spread, fronts)
  }
  const planes = [tracks.left, tracks.right, fronts.left, fronts.right, extracted.centre]
  const others = [lfe === null ? null : part(lfe), extracted.leftSurround, extracted.rightSurround]
  const whole = [...planes, ...others].map((plane) => {
    const room = takePlane(frameCount)
    if (plane !== null) room.set(plane, firstFrame + from - saw.startFrame)
    return room
  })
  const pairs = [0, 2, 4, 6].map((first) =>
    bandPowers(kernels, sampleRateHz, saw, [whole[first] as Float64Array, whole[first + 1] as Float64Array]),
  )
  arena.release(mark)
  return (pairs[0] as (typeof pairs)[number]).map(({ midHz }, band) => {
    const powers = pairs.flatMap((pair) => pair[band]?.powers ?? [])
    return { midHz, powers: Object.fromEntries(NAMES.map((name, n) => [name, powers[n] as number])) as Powers }
  })
}

function madeBands(
  bands: readonly { readonly midHz: number; readonly powers: Powers }[],
): Pick<UpmixMoment, 'bands' | 'total'> {
  const sum = (name: keyof Powers) => bands.reduce((total, { powers }) => total + powers[name], 0)
  const total = Object.fromEntries(NAMES.map((name) => [name, sum(name)])) as Powers
  return { bands: bands.map(({ midHz, powers }) => madeBand(midHz, powers)), total: madeBand(null, total) }
}

function madeBand(midHz: number | null, powers: Powers): MadeBand {
  const { left, right, ...channels } = powers
  const { L, R, C, LFE, Ls, Rs } = channels
  const inDb = (power: number) => (power > 0 ? powerToDb(power) : null)
  const five = L + R + C + Ls + Rs
  return {
    midHz,
    masterDbfs: { left: inDb(left), right: inDb(right) },
    channelsDbfs: { L: inDb(L), R: inDb(R), C: inDb(C), LFE: inDb(LFE), Ls: inDb(Ls), Rs: inDb(Rs) },
    shares: five === 0 ? null : { centre: C / five, fronts: (L + R) / five, surrounds: (Ls + Rs) / five },
  }
}
