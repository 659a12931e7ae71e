// The true peak of every 100 ms. Its floor is known only when the 100 ms have ended: their highest sample. So the notes
// of their blocks are kept; at the end the block that promises most is decoded again and interpolated, and after it
// hardly another can hold a higher point.
import { decode, decodePair } from './meter-decode'
import { foldSamples } from './meter-fold'
import { highestPoint } from './meter-peaks'
import {
  AGAIN,
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
  SAMPLE,
} from './meter-plan'
import { mayExceed } from './true-peak'

/** Remembers where the 100 ms that begin now lie, and what stood before them. */
export function beginHopHistory(plan: MeterPlan, address: usize, source: usize): void {
  plan.hopSource = source
  plan.blocksInHop = 0
  memory.copy(address + HOP_PAST, address + LANES - HISTORY * plan.laneBytes, HISTORY * plan.laneBytes)
}

/** Writes the true peak of every lane of the 100 ms that were noted. */
export function writeHopTruePeaks(plan: MeterPlan, address: usize, row: usize): void {
  plan.decodedNote = 0
  const notes = address + NOTES
  const end = notes + plan.blocksInHop * NOTE
  memory.copy(row, address + HOP_PEAKS, plan.laneBytes)
  for (let offset: usize = 0; offset < <usize>plan.laneBytes; offset += PAIR) {
    const pair = row + offset
    raiseToNote(plan, address, mostPromising(notes, offset, load<f64>(pair)), offset, pair)
    raiseToNote(
      plan,
      address,
      mostPromising(notes, offset + SAMPLE, load<f64>(pair, 8)),
      offset + SAMPLE,
      pair + SAMPLE,
    )
    for (let note = notes; note < end; note += NOTE) {
      const p = note + offset
      const worth = mayExceed(p + NOTE_PEAKS, p + NOTE_CURVES, pair)
      if (worth & 1) raiseToNote(plan, address, note, offset, pair)
      if (worth & 2) raiseToNote(plan, address, note, offset + SAMPLE, pair + SAMPLE)
    }
  }
}

/** Raises a row to the points of the block that was decoded last. */
export function raiseHopTruePeaks(plan: MeterPlan, address: usize, row: usize, frames: i32): void {
  for (let offset: usize = 0; offset < <usize>plan.laneBytes; offset += SAMPLE) {
    const p = row + offset
    store<f64>(p, highestPoint(plan, address, address + LANES, offset, frames, load<f64>(p)))
  }
}

/** The first note of the lane whose samples reach its highest. */
function mostPromising(note: usize, offset: usize, highest: f64): usize {
  while (load<f64>(note + offset, NOTE_PEAKS) < highest) note += NOTE
  return note
}

/** Raises the value at `to` to the points of the block of a note. */
function raiseToNote(plan: MeterPlan, address: usize, note: usize, offset: usize, to: usize): void {
  decodeAgain(plan, address, note, <i32>offset / PAIR)
  const block = address + AGAIN + HISTORY * plan.laneBytes
  store<f64>(to, highestPoint(plan, address, block, offset, load<i32>(note, 4), load<f64>(to)))
}

/** Decodes a pair of the block of a note once more, with its past. */
function decodeAgain(plan: MeterPlan, address: usize, note: usize, pair: i32): void {
  if (plan.decodedNote === note && plan.decodedPair === pair) return
  plan.decodedNote = note
  plan.decodedPair = pair
  const start = load<i32>(note)
  const past = start === 0 ? 0 : HISTORY
  const frames = past + load<i32>(note, 4)
  const lanes = address + AGAIN + (HISTORY - past) * plan.laneBytes
  const source = plan.hopSource + (start - past) * plan.sourceFrameBytes
  if (start === 0) memory.copy(address + AGAIN, address + HOP_PAST, HISTORY * plan.laneBytes)
  if (pair < plan.channelPairs) {
    decodePair(plan, source, pair, lanes, frames)
  } else {
    decode(plan, source, lanes, frames)
    foldSamples(plan, lanes, frames, address + BLOCK_PEAKS)
  }
}
