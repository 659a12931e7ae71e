import {
  type AudioSource,
  decodesMatrix,
  framesPerHop,
  frontSpreadOf,
  frontSpreadOver,
  type Measured,
  type Segment,
  type UpmixPlan,
} from '../domain/index.ts'
import { type Kernels, writeFronts, writeMatrixFronts } from '../dsp/index.ts'
import { createPlaneMeter } from './measure/index.ts'
import type { UpmixedSegment } from './render/index.ts'

/** Measures a segment of the 5.1 before any gain, fed from the margin before it so that the filters have settled. */
export function measureUpmixed(
  kernels: Kernels,
  source: AudioSource,
  segment: Segment,
  upmixed: UpmixedSegment,
  plan: UpmixPlan,
): Measured {
  const frontSpread = frontSpreadOf(plan)
  const isLtRt = decodesMatrix(plan.settings, plan.reading)
  const { sampleRateHz } = source.format
  const { firstFrame, left, right, centre, leftSurround, rightSurround, lfe } = upmixed
  const meter = createPlaneMeter(kernels, { sampleRateHz, layout: '5.1', firstFrame: segment.firstFrame })
  const [toLeft, toRight, toCentre, toLfe, toLeftSurround, toRightSurround] = meter.planes as Float64Array[] & {
    length: 6
  }
  const feed = (from: number, count: number): void => {
    const part = <T extends Float64Array | Float32Array>(plane: T): T => plane.subarray(from, from + count) as T
    const extracted = {
      centre: part(centre),
      leftSurround: part(leftSurround),
      rightSurround: part(rightSurround),
    }
    const fronts = { left: toLeft.subarray(0, count), right: toRight.subarray(0, count) }
    const tracks = { left: part(left), right: part(right) }
    if (isLtRt) writeMatrixFronts(kernels, tracks, extracted, fronts)
    else writeFronts(kernels, tracks, extracted, frontSpreadOver(frontSpread, firstFrame + from, count), fronts)
    toCentre.set(extracted.centre)
    toLeftSurround.set(extracted.leftSurround)
    toRightSurround.set(extracted.rightSurround)
    if (lfe === null) toLfe.fill(0, 0, count)
    else toLfe.set(part(lfe))
    meter.run(count)
  }
  const hopFrames = framesPerHop(sampleRateHz)
  const first = segment.firstFrame - firstFrame
  for (let from = first % hopFrames; from < first; from += hopFrames) feed(from, hopFrames)
  meter.endWarmUp()
  for (let done = 0; done < segment.frameCount; done += hopFrames) {
    feed(first + done, Math.min(hopFrames, segment.frameCount - done))
  }
  return meter.finish(segment.firstFrame + segment.frameCount === source.frameCount)
}
