// The true peak of every 100 ms. Its floor is known only when the 100 ms have ended: their highest sample. So every
// block leaves a note of what its points are made of; at the end the block that promises most is decoded again and
// interpolated, and after it hardly another can hold a higher point.
import { decode } from './meter-decode'
import { foldSamples } from './meter-fold'
import { highestPoint } from './meter-peaks'
import {
  AGAIN,
  BLOCK_CURVES,
  BLOCK_PEAKS,
  HISTORY,
  HOP_PAST,
  HOP_PEAKS,
  LANES,
  MeterPlan,
  NOTE,
  NOTE_CURVES,
  NOTE_PEAKS,
  NOTES,
  PAIR,
  PAST_CURVES,
  PAST_PEAKS,
  SAMPLE,
} from './meter-plan'
import { mayExceed } from './true-peak'

/** Remembers where the 100 ms that begin now lie, and what stood before them. */
export function beginHopHistory(plan: MeterPlan, address: usize, source: usize): void {
  plan.hopSource = source
  plan.blocksInHop = 0
  memory.copy(address + HOP_PAST, address + LANES - HISTORY * plan.laneBytes, HISTORY * plan.laneBytes)
}

/** Notes the block that was decoded last. */
export function noteBlock(plan: MeterPlan, address: usize, frames: i32): void {
  const note = address + NOTES + plan.blocksInHop * NOTE
  store<i32>(note, plan.framesInHop)
  store<i32>(note, frames, 4)
  for (let p: usize = 0; p < <usize>plan.laneBytes; p += PAIR) {
    const peaks = f64x2.pmax(v128.load(address + p, BLOCK_PEAKS), v128.load(address + p, PAST_PEAKS))
    const curves = f64x2.pmax(v128.load(address + p, BLOCK_CURVES), v128.load(address + p, PAST_CURVES))
    v128.store(note + p, peaks, NOTE_PEAKS)
    v128.store(note + p, curves, NOTE_CURVES)
  }
  plan.blocksInHop += 1
}

/** Writes the true peak of every lane of the 100 ms that were noted. */
export function writeHopTruePeaks(plan: MeterPlan, address: usize, row: usize): void {
  plan.decodedNote = 0
  for (let lane = 0; lane < plan.laneBytes / SAMPLE; lane++) {
    const notes = address + NOTES
    const first = mostPromising(notes, plan.blocksInHop, lane)
    let highest = highestWith(plan, address, first, lane, load<f64>(address + HOP_PEAKS + lane * SAMPLE))
    for (let i = 0; i < plan.blocksInHop; i++) {
      const note = notes + i * NOTE
      if (note !== first) highest = highestWith(plan, address, note, lane, highest)
    }
    store<f64>(row + lane * SAMPLE, highest)
  }
}

/** Raises a row to the points of the block that was decoded last. */
export function raiseHopTruePeaks(plan: MeterPlan, address: usize, row: usize, frames: i32): void {
  for (let lane = 0; lane < plan.laneBytes / SAMPLE; lane++) {
    const p = row + lane * SAMPLE
    store<f64>(p, Math.max(load<f64>(p), highestPoint(plan, address, address + LANES, lane, frames)))
  }
}

/** The note with the highest sample. */
function mostPromising(notes: usize, count: i32, lane: i32): usize {
  let best = notes
  let highest: f64 = 0
  for (let i = 0; i < count; i++) {
    const peak = load<f64>(notes + i * NOTE + lane * SAMPLE, NOTE_PEAKS)
    if (peak > highest) {
      highest = peak
      best = notes + i * NOTE
    }
  }
  return best
}

/** `highest`, or the highest point of the block if that is higher. */
function highestWith(plan: MeterPlan, address: usize, note: usize, lane: i32, highest: f64): f64 {
  const p = note + lane * SAMPLE
  if (!mayExceed(load<f64>(p, NOTE_PEAKS), load<f64>(p, NOTE_CURVES), highest)) return highest
  if (plan.decodedNote !== note) decodeAgain(plan, address, note)
  const block = address + AGAIN + HISTORY * plan.laneBytes
  return Math.max(highest, highestPoint(plan, address, block, lane, load<i32>(note, 4)))
}

/** Decodes the block of a note once more, with its past. */
function decodeAgain(plan: MeterPlan, address: usize, note: usize): void {
  const start = load<i32>(note)
  const frames = load<i32>(note, 4)
  const past = start === 0 ? 0 : HISTORY
  const lanes = address + AGAIN + (HISTORY - past) * plan.laneBytes
  if (start === 0) memory.copy(address + AGAIN, address + HOP_PAST, HISTORY * plan.laneBytes)
  decode(plan, plan.hopSource + (start - past) * plan.sourceFrameBytes, lanes, past + frames)
  if (plan.channelPairs > 1) foldSamples(plan, lanes, past + frames, address + BLOCK_PEAKS)
  plan.decodedNote = note
}
