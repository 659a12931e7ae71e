// One pass over raw PCM: K-weighted energies of every 10 ms, sample peaks of every 100 ms, sample and true peaks of the
// whole, of every channel and of the Lo/Ro fold-down.
import { decode, sampleBytes } from './meter-decode'
import { addEnergies, takeSamplePeaks } from './meter-fold'
import { beginHopHistory, raiseHopTruePeaks, writeHopTruePeaks } from './meter-history'
import { noteBlock } from './meter-notes'
import { raisePeaks, takePastPeaks } from './meter-peaks'
import {
  BLOCK,
  BLOCK_PEAKS,
  ENERGIES,
  FLOAT64,
  HISTORY,
  HOP_PEAKS,
  LANES,
  MEMORY_BYTES,
  MeterPlan,
  MOST_PAIRS,
  PAIR,
  PEAKS_BYTES,
  STATES,
} from './meter-plan'
import { silenceFilters, weigh } from './meter-weigh'

/** Bytes that a plan takes with its working memory. */
export function meterPlanBytes(): i32 {
  return <i32>MEMORY_BYTES
}

/**
 * Prepares a pass at `address`. `coefficients`: shelf g1 g2 a1 a2, high-pass e2 f, fold-down k, each twice (float64).
 * `taps`: outer phase even, odd, inner phase even, odd, six taps each, each four times (float32).
 */
export function meterPlan(
  address: usize,
  encoding: i32,
  channelCount: i32,
  fineHopFrames: i32,
  planeBytes: i32,
  coefficients: usize,
  taps: usize,
  peaks: usize,
  energyTable: usize,
  peakTable: usize,
  truePeakTable: usize,
): void {
  const plan = changetype<MeterPlan>(address)
  memory.fill(address, 0, MEMORY_BYTES)
  plan.encoding = encoding
  plan.channelCount = channelCount
  plan.channelPairs = channelCount <= 2 ? 1 : channelCount <= 6 ? 3 : 4
  plan.laneBytes = (channelCount <= 2 ? 1 : plan.channelPairs + 1) * PAIR
  plan.sourceFrameBytes = sampleBytes(encoding) * (encoding > FLOAT64 ? 1 : channelCount)
  plan.planeBytes = planeBytes
  plan.fineHopFrames = fineHopFrames
  plan.hopFrames = 10 * fineHopFrames
  plan.coefficients = coefficients
  plan.taps = taps
  plan.peaks = peaks
  plan.energyTable = energyTable
  plan.peakTable = peakTable
  plan.truePeakTable = truePeakTable
  meterStart(address)
}

/** Forgets what was counted and keeps filters and history: the next frame is the first that counts. */
export function meterStart(address: usize): void {
  const plan = changetype<MeterPlan>(address)
  plan.framesInFineHop = 0
  plan.framesInHop = 0
  plan.frame = 0
  memory.fill(address + ENERGIES, 0, MOST_PAIRS * PAIR)
  memory.fill(address + HOP_PEAKS, 0, MOST_PAIRS * PAIR)
  memory.fill(plan.peaks, 0, PEAKS_BYTES)
}

/**
 * Measures `frameCount` frames. A row of the energy table (sum of squares of each lane) is written for each 10 ms
 * that ends, a row of the peak table (highest |sample| of each lane) and, where there is one, of the true-peak table
 * for each 100 ms; the tables are written from their start at each call. With a true-peak table a call starts on the
 * 100 ms grid. Gives the count of samples that were not finite.
 */
export function meterRun(address: usize, source: usize, frameCount: i32): i32 {
  const plan = changetype<MeterPlan>(address)
  plan.energyRow = plan.energyTable
  plan.peakRow = plan.peakTable
  plan.truePeakRow = plan.truePeakTable
  const keepsTruePeaks = plan.truePeakTable !== 0
  let nonFiniteCount = 0
  while (frameCount > 0) {
    const frames = min(min(BLOCK, frameCount), plan.fineHopFrames - plan.framesInFineHop)
    if (keepsTruePeaks && plan.framesInHop === 0) beginHopHistory(plan, address, source)
    nonFiniteCount += decode(plan, source, address + LANES, frames)
    takeSamplePeaks(plan, address, frames)
    noteBlock(plan, address, frames)
    raisePeaks(plan, address, frames)
    keepHistory(address + LANES, plan.laneBytes, frames)
    takePastPeaks(plan, address)
    weigh(plan, address, frames)
    addEnergies(plan, address, frames)
    advance(plan, address, frames)
    source += frames * plan.sourceFrameBytes
    frameCount -= frames
  }
  return nonFiniteCount
}

/**
 * Writes the peaks of the 100 ms that is under way as the first row of the tables. At the end of a programme
 * (`ringsOut`) the interpolation first runs on into the silence behind the last sample.
 */
export function meterFinish(address: usize, ringsOut: bool): void {
  const plan = changetype<MeterPlan>(address)
  const keepsTruePeaks = plan.truePeakTable !== 0
  if (keepsTruePeaks) {
    if (plan.framesInHop > 0) writeHopTruePeaks(plan, address, plan.truePeakTable)
    else memory.fill(plan.truePeakTable, 0, plan.laneBytes)
  }
  if (ringsOut) {
    const frames = HISTORY - 1
    memory.fill(address + LANES, 0, frames * plan.laneBytes)
    memory.fill(address + BLOCK_PEAKS, 0, plan.laneBytes)
    noteBlock(plan, address, frames)
    raisePeaks(plan, address, frames)
    if (keepsTruePeaks) raiseHopTruePeaks(plan, address, plan.truePeakTable, frames)
  }
  memory.copy(plan.peakTable, address + HOP_PEAKS, plan.laneBytes)
}

/** Moves the last frames of a block before its start, where the next block looks for its past. */
function keepHistory(lanes: usize, stride: i32, frames: i32): void {
  for (let p = lanes - HISTORY * stride; p < lanes; p += PAIR) v128.store(p, v128.load(p + frames * stride))
}

/** Steps on in time; ends the 10 ms and the 100 ms that are full. */
function advance(plan: MeterPlan, address: usize, frames: i32): void {
  plan.framesInFineHop += frames
  plan.framesInHop += frames
  plan.frame += <f64>frames
  if (plan.framesInFineHop === plan.fineHopFrames) {
    plan.framesInFineHop = 0
    plan.energyRow = moveRow(address + ENERGIES, plan.energyRow, plan.laneBytes)
    silenceFilters(address + STATES)
  }
  if (plan.framesInHop === plan.hopFrames) {
    plan.framesInHop = 0
    if (plan.truePeakTable !== 0) {
      writeHopTruePeaks(plan, address, plan.truePeakRow)
      plan.truePeakRow += plan.laneBytes
    }
    plan.peakRow = moveRow(address + HOP_PEAKS, plan.peakRow, plan.laneBytes)
  }
}

function moveRow(from: usize, to: usize, bytes: i32): usize {
  memory.copy(to, from, bytes)
  memory.fill(from, 0, bytes)
  return to + bytes
}
