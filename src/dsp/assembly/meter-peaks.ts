// Sample and true peak of every lane, with their frames.
import {
  BLOCK_CURVES,
  BLOCK_PEAKS,
  HISTORY,
  LANES,
  MeterPlan,
  PAST_CURVES,
  PAST_PEAKS,
  PEAK_ROW,
  SAMPLE,
  SAMPLE_PEAK_FRAME,
  SAMPLES,
  TRUE_PEAK,
  TRUE_PEAK_FRAME,
} from './meter-plan'
import { interpolatedPeak, mayExceed, outputAt } from './true-peak'

/** A point of the interpolation stands between this many and one less frames before its newest sample. */
const DELAY: i32 = 6

/** Raises the peaks of every lane; looks between the samples only where a point there can be higher. */
export function raisePeaks(plan: MeterPlan, address: usize, frames: i32): void {
  const lanes = plan.laneBytes / SAMPLE
  for (let lane = 0; lane < lanes; lane++) {
    const offset = <usize>(lane * SAMPLE)
    const row = plan.peaks + lane * PEAK_ROW
    const peak = load<f64>(address + offset, BLOCK_PEAKS)
    const reach = Math.max(peak, load<f64>(address + offset, PAST_PEAKS))
    const curve = Math.max(load<f64>(address + offset, BLOCK_CURVES), load<f64>(address + offset, PAST_CURVES))
    if (peak > load<f64>(row)) raiseToSample(plan, address, lane, row, peak)
    if (mayExceed(reach, curve, load<f64>(row, TRUE_PEAK))) raiseToPoints(plan, address, lane, row, frames)
  }
}

/** The highest interpolated |value| of a block of lane frames that has its past before it, of one lane. */
export function highestPoint(plan: MeterPlan, address: usize, block: usize, lane: i32, frames: i32): f64 {
  takeOut(plan, address, block, lane, frames)
  return interpolatedPeak(address + SAMPLES + HISTORY * 4, frames, plan.taps)
}

function raiseToSample(plan: MeterPlan, address: usize, lane: i32, row: usize, peak: f64): void {
  const frame = plan.frame + <f64>frameOf(peak, address + LANES + lane * SAMPLE, plan.laneBytes)
  store<f64>(row, peak)
  store<f64>(row, frame, SAMPLE_PEAK_FRAME)
  if (peak > load<f64>(row, TRUE_PEAK)) {
    store<f64>(row, peak, TRUE_PEAK)
    store<f64>(row, frame, TRUE_PEAK_FRAME)
  }
}

function frameOf(peak: f64, p: usize, stride: i32): i32 {
  let frame = 0
  while (Math.abs(load<f64>(p)) !== peak) {
    p += stride
    frame += 1
  }
  return frame
}

function raiseToPoints(plan: MeterPlan, address: usize, lane: i32, row: usize, frames: i32): void {
  const peak = highestPoint(plan, address, address + LANES, lane, frames)
  if (peak <= load<f64>(row, TRUE_PEAK)) return
  const output = outputAt(address + SAMPLES + HISTORY * 4, frames, plan.taps, <f32>peak)
  store<f64>(row, peak, TRUE_PEAK)
  store<f64>(row, plan.frame + <f64>(output - DELAY), TRUE_PEAK_FRAME)
}

/** Takes a lane out of a block and its past, as float32. */
function takeOut(plan: MeterPlan, address: usize, block: usize, lane: i32, frames: i32): void {
  let to = address + SAMPLES
  let p = block + lane * SAMPLE - HISTORY * plan.laneBytes
  const end = to + (HISTORY + frames) * 4
  for (; to < end; to += 4) {
    store<f32>(to, <f32>load<f64>(p))
    p += plan.laneBytes
  }
}
