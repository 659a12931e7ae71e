// Sample and true peak of every lane, with their frames.
import {
  BLOCK_PEAKS,
  HISTORY,
  HISTORY_PEAKS,
  LANES,
  MeterPlan,
  PAIR,
  PEAK_ROW,
  SAMPLE,
  SAMPLE_PEAK_FRAME,
  SAMPLES,
  TRUE_PEAK,
  TRUE_PEAK_FRAME,
} from './meter-plan'
import { curvedMayExceed, interpolatedPeak, mayExceed, outputAt } from './true-peak'

/** A point of the interpolation stands between this many and one less frames before its newest sample. */
const DELAY: i32 = 6

/** Raises the peaks of every lane; looks between the samples only where a point there can be higher. */
export function raisePeaks(plan: MeterPlan, address: usize, frames: i32): void {
  for (let offset = 0; offset < plan.laneBytes; offset += PAIR) {
    const lane = offset / SAMPLE
    const left = plan.peaks + lane * PEAK_ROW
    const right = left + PEAK_ROW
    const leftReach = raiseToSamples(plan, address, lane, left, frames)
    const rightReach = raiseToSamples(plan, address, lane + 1, right, frames)
    if (!mayExceed(leftReach, truePeakOf(left)) && !mayExceed(rightReach, truePeakOf(right))) continue
    const curvature = highestCurvature(address + LANES + offset, plan.laneBytes, frames)
    if (curvedMayExceed(leftReach, f64x2.extract_lane(curvature, 0), truePeakOf(left))) {
      raiseToPoints(plan, address, lane, left, frames)
    }
    if (curvedMayExceed(rightReach, f64x2.extract_lane(curvature, 1), truePeakOf(right))) {
      raiseToPoints(plan, address, lane + 1, right, frames)
    }
  }
}

function truePeakOf(row: usize): f64 {
  return load<f64>(row, TRUE_PEAK)
}

/** Takes the block's sample peak into the lane's row; gives the highest |sample| that the block's points are made of. */
function raiseToSamples(plan: MeterPlan, address: usize, lane: i32, row: usize, frames: i32): f64 {
  const peak = load<f64>(address + BLOCK_PEAKS + lane * SAMPLE)
  const past = address + HISTORY_PEAKS + lane * SAMPLE
  const reach = Math.max(peak, load<f64>(past))
  store<f64>(past, frames < HISTORY ? reach : peak)
  if (peak > load<f64>(row)) {
    const frame = plan.frame + <f64>frameOf(peak, address + LANES + lane * SAMPLE, plan.laneBytes)
    store<f64>(row, peak)
    store<f64>(row, frame, SAMPLE_PEAK_FRAME)
    if (peak > truePeakOf(row)) {
      store<f64>(row, peak, TRUE_PEAK)
      store<f64>(row, frame, TRUE_PEAK_FRAME)
    }
  }
  return reach
}

function frameOf(peak: f64, p: usize, stride: i32): i32 {
  let frame = 0
  while (Math.abs(load<f64>(p)) !== peak) {
    p += stride
    frame += 1
  }
  return frame
}

/** Highest |second difference| that enters the points of a block, for both lanes of a pair. */
function highestCurvature(pair: usize, stride: i32, frames: i32): v128 {
  let p = pair - (HISTORY - 1) * stride
  let here = v128.load(p + stride)
  let slope = f64x2.sub(here, v128.load(p))
  let highest = f64x2.splat(0)
  p += 2 * stride
  for (let i = 3 - HISTORY; i < frames; i++) {
    const after = v128.load(p)
    const nextSlope = f64x2.sub(after, here)
    highest = f64x2.pmax(highest, f64x2.abs(f64x2.sub(nextSlope, slope)))
    here = after
    slope = nextSlope
    p += stride
  }
  return highest
}

/** Takes the lane out as float32, interpolates the block and takes its highest point into the row. */
function raiseToPoints(plan: MeterPlan, address: usize, lane: i32, row: usize, frames: i32): void {
  const samples = address + SAMPLES + HISTORY * 4
  let p = address + LANES + lane * SAMPLE - HISTORY * plan.laneBytes
  for (let i = -HISTORY; i < frames; i++) {
    store<f32>(samples + (i << 2), <f32>load<f64>(p))
    p += plan.laneBytes
  }
  const peak = interpolatedPeak(samples, frames, plan.taps)
  if (<f64>peak <= truePeakOf(row)) return
  const frame = plan.frame + <f64>(outputAt(samples, frames, plan.taps, peak) - DELAY)
  store<f64>(row, <f64>peak, TRUE_PEAK)
  store<f64>(row, frame, TRUE_PEAK_FRAME)
}
