import { dbToGain, type FrameRange, framesPerHop, type GainPlan } from '../domain/index.ts'
import { PLANE_SLACK_FRAMES } from './decode.ts'
import type { Kernels } from './kernels.ts'

export interface GainExports {
  readonly gainLine: (out: number, count: number, start: number, step: number, first: number) => void
  readonly gainConstant: (out: number, count: number, gain: number) => void
  readonly gainProduct: (a: number, b: number, count: number, product: number) => void
}

const LOG2_10 = 3.321928094887362
const OCTAVES_PER_DB = LOG2_10 / 20

/** Takes memory for a gain curve of `frameCount` frames (float64, linear), all of it at unity. */
export function takeGain(kernels: Kernels, frameCount: number): number {
  const address = kernels.arena.take((frameCount + PLANE_SLACK_FRAMES) * 8)
  kernels.exports.gainConstant(address, frameCount + PLANE_SLACK_FRAMES, 1)
  return address
}

/**
 * Writes the static gain and the ride of a plan, ceiling left out, for frames `firstFrame` .. + `frameCount` of the
 * programme: float64, linear. Between the centres of two 100 ms hops the gain is a straight line in dB; before the
 * first and after the last centre it is held. A frame's gain does not depend on where the stretch starts.
 */
export function writeGain(
  kernels: Kernels,
  plan: GainPlan,
  sampleRateHz: number,
  stretch: { readonly firstFrame: number; readonly frameCount: number },
  address: number,
): void {
  const ride = plan.rideDb
  if (ride === null || ride.length === 0) {
    kernels.exports.gainConstant(address, stretch.frameCount, dbToGain(plan.staticGainDb))
    return
  }
  const hop = framesPerHop(sampleRateHz)
  const end = stretch.firstFrame + stretch.frameCount
  const point = (index: number) => plan.staticGainDb + (ride[Math.max(0, Math.min(ride.length - 1, index))] as number)
  for (let frame = stretch.firstFrame; frame < end; ) {
    const index = Math.floor(frame / hop - 0.5)
    const centre = (index + 0.5) * hop
    const count = Math.min(end, centre + hop) - frame
    kernels.exports.gainLine(
      address + (frame - stretch.firstFrame) * 8,
      count,
      point(index) * OCTAVES_PER_DB,
      ((point(index + 1) - point(index)) * OCTAVES_PER_DB) / hop,
      frame - centre,
    )
    frame += count
  }
}

/**
 * Sets a gain curve to exactly 1 outside the stretches in which a plan acts. The step at a border is as hard as the cut
 * that is there: what lies on the other side (tone, leader, a break) is another signal and stays as it is.
 * @param programme in order, without overlap; absent: the plan acts everywhere
 */
export function holdUnityOutside(
  kernels: Kernels,
  programme: readonly FrameRange[] | undefined,
  stretch: { readonly firstFrame: number; readonly frameCount: number },
  address: number,
): void {
  if (programme === undefined) return
  const end = stretch.firstFrame + stretch.frameCount
  let frame = stretch.firstFrame
  for (const { startFrame, endFrame } of [...programme, { startFrame: end, endFrame: end }]) {
    const outsideEnd = Math.min(startFrame, end)
    if (outsideEnd > frame) {
      kernels.exports.gainConstant(address + (frame - stretch.firstFrame) * 8, outsideEnd - frame, 1)
    }
    frame = Math.max(frame, endFrame)
  }
}

/** Writes the product of two gain curves to `product`, which may be one of them; gives back that address. */
export function multiplyGains(kernels: Kernels, a: number, b: number, frameCount: number, product: number): number {
  kernels.exports.gainProduct(a, b, frameCount, product)
  return product
}
