// Sample and true peak of every lane, with their frames.
import {
  BLOCK_PEAKS,
  HISTORY,
  LANES,
  MeterPlan,
  NOTE_CURVES,
  NOTE_PEAKS,
  PAIR,
  PAST_PEAKS,
  SAMPLE,
  SAMPLE_PEAK_FRAMES,
  SAMPLES,
  TRUE_PEAK_FRAMES,
  TRUE_PEAKS,
} from './meter-plan'
import { mayExceed, outputAt, pointsAbove } from './true-peak'

/** A point of the interpolation stands between this many and one less frames before its newest sample. */
const DELAY: i32 = 6

/** Raises the peaks of every lane; looks between the samples only where the note of the block says that it may pay. */
export function raisePeaks(plan: MeterPlan, address: usize, frames: i32): void {
  for (let offset: usize = 0; offset < <usize>plan.laneBytes; offset += PAIR) {
    const row = plan.peaks + offset
    const note = plan.note + offset
    const higher = i64x2.bitmask(f64x2.gt(v128.load(address + offset, BLOCK_PEAKS), v128.load(row)))
    if (higher & 1) raiseToSample(plan, address, offset)
    if (higher & 2) raiseToSample(plan, address, offset + SAMPLE)
    const worth = mayExceed(note + NOTE_PEAKS, note + NOTE_CURVES, row + TRUE_PEAKS)
    if (worth & 1) raiseToPoints(plan, address, offset, frames)
    if (worth & 2) raiseToPoints(plan, address, offset + SAMPLE, frames)
  }
}

/** `floor`, or the highest interpolated |value| of a block of lane frames with its past before it if that is higher. */
export function highestPoint(
  plan: MeterPlan,
  address: usize,
  block: usize,
  offset: usize,
  frames: i32,
  floor: f64,
): f64 {
  takeOut(plan, address, block + offset, frames)
  return pointsAbove(address + SAMPLES + HISTORY * 4, frames, plan.taps, floor)
}

/** The highest |sample| of the frames kept before the next block. */
export function takePastPeaks(plan: MeterPlan, address: usize): void {
  const stride = plan.laneBytes
  for (let offset: usize = 0; offset < <usize>stride; offset += PAIR) {
    let highest = f64x2.splat(0)
    const end = address + LANES + offset
    for (let p = end - HISTORY * stride; p < end; p += stride) {
      highest = f64x2.pmax(highest, f64x2.abs(v128.load(p)))
    }
    v128.store(address + offset, highest, PAST_PEAKS)
  }
}

function raiseToSample(plan: MeterPlan, address: usize, offset: usize): void {
  const peak = load<f64>(address + offset, BLOCK_PEAKS)
  const row = plan.peaks + offset
  const frame = plan.frame + <f64>frameOf(peak, address + LANES + offset, plan.laneBytes)
  store<f64>(row, peak)
  store<f64>(row, frame, SAMPLE_PEAK_FRAMES)
  if (peak > load<f64>(row, TRUE_PEAKS)) {
    store<f64>(row, peak, TRUE_PEAKS)
    store<f64>(row, frame, TRUE_PEAK_FRAMES)
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

function raiseToPoints(plan: MeterPlan, address: usize, offset: usize, frames: i32): void {
  const row = plan.peaks + offset
  const floor = load<f64>(row, TRUE_PEAKS)
  const peak = highestPoint(plan, address, address + LANES, offset, frames, floor)
  if (peak === floor) return
  const output = outputAt(address + SAMPLES + HISTORY * 4, frames, plan.taps, <f32>peak)
  store<f64>(row, peak, TRUE_PEAKS)
  store<f64>(row, plan.frame + <f64>(output - DELAY), TRUE_PEAK_FRAMES)
}

/** Takes a lane out of a block and its past, as float32. */
function takeOut(plan: MeterPlan, address: usize, lane: usize, frames: i32): void {
  let to = address + SAMPLES
  let p = lane - HISTORY * plan.laneBytes
  const end = to + (HISTORY + frames) * 4
  for (; to < end; to += 4) {
    store<f32>(to, <f32>load<f64>(p))
    p += plan.laneBytes
  }
}
