// One pass over raw PCM: K-weighted energies of every 10 ms, sample peaks of every 100 ms, sample and true peaks.
// Works on lane frames: L R | C LFE | Ls Rs | Lrs Rrs | Lo Ro, two channels a vector; a layout without a channel
// leaves its lane at 0; mono and 2.0 have the first pair alone. Lo/Ro is folded here: the K-weighting is linear, so
// its filtered pair is the same sum of the filtered channels; its peaks need the real sum of the samples.
import { decodeFloat32, decodeFloat64, decodeInt16, decodeInt24, decodeInt32, decodePlane } from './meter-decode'
import { curvedMayExceed, HISTORY, interpolatedPeak, mayExceed, outputAt } from './true-peak'

/** Frames worked on at once: small enough that a quiet block is skipped alone in the search for the true peak. */
const BLOCK: i32 = 64

const SAMPLE: i32 = 8
const PAIR: i32 = 16
const MOST_PAIRS: i32 = 5

/** Filter memory of one pair: two vectors of the shelf, two of the high-pass. */
const STATE: i32 = 4 * PAIR

/** Below this a filter's memory is taken as silence, long before it becomes denormal (denormals are slow). */
const SILENCE: f64 = 1e-30

/** Order of the encodings; planar float64 comes last. */
const INT16: i32 = 0
const INT24: i32 = 1
const INT32: i32 = 2
const FLOAT32: i32 = 3
const FLOAT64: i32 = 4

/** One lane's row in `peaks`: sample peak, its frame, true peak, its frame. */
const SAMPLE_PEAK_FRAME: usize = 8
const TRUE_PEAK: usize = 16
const TRUE_PEAK_FRAME: usize = 24
const PEAK_ROW: i32 = 32

/** A point of the interpolation stands between this many and one less frames before its newest sample. */
const DELAY: i32 = 6

class MeterPlan {
  encoding: i32
  channelCount: i32
  channelPairs: i32
  laneBytes: i32
  sourceFrameBytes: i32
  planeBytes: i32
  fineHopFrames: i32
  hopFrames: i32
  framesInFineHop: i32
  framesInHop: i32
  /** Frames counted so far. */
  frame: f64
  coefficients: usize
  taps: usize
  /** Per lane: sample peak, its frame, true peak, its frame. */
  peaks: usize
  /** Next free row of each table. */
  energyRow: usize
  peakRow: usize
  energyTable: usize
  peakTable: usize
}

const PLAN_BYTES: usize = 128
const STATES: usize = PLAN_BYTES
const ENERGIES: usize = STATES + MOST_PAIRS * STATE
const BLOCK_PEAKS: usize = ENERGIES + MOST_PAIRS * PAIR
const HISTORY_PEAKS: usize = BLOCK_PEAKS + MOST_PAIRS * PAIR
const HOP_PEAKS: usize = HISTORY_PEAKS + MOST_PAIRS * PAIR
const SAMPLES: usize = HOP_PEAKS + MOST_PAIRS * PAIR
const PAST: usize = SAMPLES + (HISTORY + BLOCK + 4) * 4
const LANES: usize = PAST + HISTORY * MOST_PAIRS * PAIR
const MEMORY_BYTES: usize = LANES + BLOCK * MOST_PAIRS * PAIR

/** Bytes that a plan takes with its working memory. */
export function meterPlanBytes(): i32 {
  return <i32>MEMORY_BYTES
}

/**
 * Prepares a pass at `address` (cleared). `coefficients`: shelf g1 g2 a1 a2, high-pass e2 f, fold-down k, each twice
 * (float64); `taps`: inner even, inner odd, outer even, outer odd, six taps each, each four times (float32).
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
  memory.fill(peaks, 0, MOST_PAIRS * 2 * PEAK_ROW)
}

/** Forgets what was counted and keeps filters and history: the next frame is the first that counts. */
export function meterStart(address: usize): void {
  const plan = changetype<MeterPlan>(address)
  plan.framesInFineHop = 0
  plan.framesInHop = 0
  plan.frame = 0
  memory.fill(address + ENERGIES, 0, MOST_PAIRS * PAIR)
  memory.fill(address + HOP_PEAKS, 0, MOST_PAIRS * PAIR)
  memory.fill(plan.peaks, 0, MOST_PAIRS * 2 * PEAK_ROW)
}

/**
 * Measures `frameCount` frames. A row of the energy table (sum of squares of each lane) is written for each 10 ms
 * that ends, a row of the peak table (highest |sample| of each lane) for each 100 ms; both tables are written from
 * their start at each call. Gives the count of samples that were not finite.
 */
export function meterRun(address: usize, source: usize, frameCount: i32): i32 {
  const plan = changetype<MeterPlan>(address)
  plan.energyRow = plan.energyTable
  plan.peakRow = plan.peakTable
  let nonFiniteCount = 0
  while (frameCount > 0) {
    const frames = min(min(BLOCK, frameCount), plan.fineHopFrames - plan.framesInFineHop)
    nonFiniteCount += decode(plan, source, address + LANES, frames)
    samplePeaks(plan, address, frames)
    truePeaks(plan, address, frames)
    memory.copy(
      address + LANES - HISTORY * plan.laneBytes,
      address + LANES + (frames - HISTORY) * plan.laneBytes,
      HISTORY * plan.laneBytes,
    )
    weigh(plan, address, frames)
    advance(plan, address, frames)
    source += frames * plan.sourceFrameBytes
    frameCount -= frames
  }
  return nonFiniteCount
}

/**
 * Writes the peaks of the 100 ms that is under way as the first row of the peak table. At the end of a programme
 * (`ringsOut`) the interpolation first runs on into the silence behind the last sample.
 */
export function meterFinish(address: usize, ringsOut: bool): void {
  const plan = changetype<MeterPlan>(address)
  if (ringsOut) {
    const frames = HISTORY - 1
    memory.fill(address + LANES, 0, frames * plan.laneBytes)
    memory.fill(address + BLOCK_PEAKS, 0, plan.laneBytes)
    truePeaks(plan, address, frames)
  }
  memory.copy(plan.peakTable, address + HOP_PEAKS, plan.laneBytes)
}

function sampleBytes(encoding: i32): i32 {
  if (encoding === INT16) return 2
  if (encoding === INT24) return 3
  return encoding === INT32 || encoding === FLOAT32 ? 4 : 8
}

function decode(plan: MeterPlan, source: usize, lanes: usize, frames: i32): i32 {
  const channels = plan.channelCount
  if (plan.encoding > FLOAT64) return decodePlanes(plan, source, lanes, frames)
  if (channels === 1) return decodePair(plan, source, 0, lanes, 0, frames, false)
  let count = decodePair(plan, source, 0, lanes, 0, frames, true)
  if (channels === 2) return count
  count += decodePair(plan, source, 2, lanes, 1, frames, channels !== 5)
  count += decodePair(plan, source, channels === 5 ? 3 : 4, lanes, 2, frames, true)
  if (channels === 8) count += decodePair(plan, source, 6, lanes, 3, frames, true)
  return count
}

function decodePair(
  plan: MeterPlan,
  source: usize,
  channel: i32,
  lanes: usize,
  pair: i32,
  frames: i32,
  both: bool,
): i32 {
  const from = source + channel * sampleBytes(plan.encoding)
  const fromStride = plan.sourceFrameBytes
  const to = lanes + pair * PAIR
  const toStride = plan.laneBytes
  switch (plan.encoding) {
    case INT16:
      decodeInt16(from, fromStride, to, toStride, frames, both)
      return 0
    case INT24:
      decodeInt24(from, fromStride, to, toStride, frames, both)
      return 0
    case INT32:
      decodeInt32(from, fromStride, to, toStride, frames, both)
      return 0
    case FLOAT32:
      return decodeFloat32(from, fromStride, to, toStride, frames, both)
    default:
      return decodeFloat64(from, fromStride, to, toStride, frames, both)
  }
}

function decodePlanes(plan: MeterPlan, source: usize, lanes: usize, frames: i32): i32 {
  let count = 0
  for (let channel = 0; channel < plan.channelCount; channel++) {
    const lane = plan.channelCount === 5 && channel > 2 ? channel + 1 : channel
    count += decodePlane(source + channel * plan.planeBytes, lanes + lane * SAMPLE, plan.laneBytes, frames)
  }
  return count
}

/** Folds Lo/Ro where there is one and takes the highest |sample| of every lane. */
function samplePeaks(plan: MeterPlan, address: usize, frames: i32): void {
  if (plan.channelPairs > 1) fold(plan, address, frames)
  for (let offset = 0; offset < plan.laneBytes; offset += PAIR) {
    let p = address + LANES + offset
    let highest = f64x2.splat(0)
    for (let i = 0; i < frames; i++) {
      highest = f64x2.pmax(highest, f64x2.abs(v128.load(p)))
      p += plan.laneBytes
    }
    v128.store(address + BLOCK_PEAKS + offset, highest)
    const hop = address + HOP_PEAKS + offset
    v128.store(hop, f64x2.pmax(v128.load(hop), highest))
  }
}

/** The last pair of each frame becomes Lo = L + k (C + Ls + Lrs), Ro = R + k (C + Rs + Rrs) (ITU-R BS.775-4). */
function fold(plan: MeterPlan, address: usize, frames: i32): void {
  const k = v128.load(plan.coefficients, 6 * PAIR)
  const stride = plan.laneBytes
  const rears = plan.channelPairs === 4
  let p = address + LANES
  for (let i = 0; i < frames; i++) {
    let others = f64x2.add(v128.load64_splat(p + PAIR), v128.load(p + 2 * PAIR))
    if (rears) others = f64x2.add(others, v128.load(p + 3 * PAIR))
    v128.store(p + stride - PAIR, f64x2.add(v128.load(p), f64x2.mul(k, others)))
    p += stride
  }
}

/** Raises the peaks of every lane; looks between the samples only where a point there can be higher. */
function truePeaks(plan: MeterPlan, address: usize, frames: i32): void {
  for (let offset = 0; offset < plan.laneBytes; offset += PAIR) {
    const lane = offset / SAMPLE
    const left = plan.peaks + lane * PEAK_ROW
    const right = left + PEAK_ROW
    const leftReach = raiseToSamples(plan, address, lane, left, frames)
    const rightReach = raiseToSamples(plan, address, lane + 1, right, frames)
    if (!mayExceed(leftReach, truePeakOf(left)) && !mayExceed(rightReach, truePeakOf(right))) continue
    const curvature = highestCurvature(address + LANES + offset, plan.laneBytes, frames)
    const leftCurvature = f64x2.extract_lane(curvature, 0)
    const rightCurvature = f64x2.extract_lane(curvature, 1)
    if (curvedMayExceed(leftReach, leftCurvature, truePeakOf(left))) interpolate(plan, address, lane, left, frames)
    if (curvedMayExceed(rightReach, rightCurvature, truePeakOf(right)))
      interpolate(plan, address, lane + 1, right, frames)
  }
}

function truePeakOf(row: usize): f64 {
  return load<f64>(row, TRUE_PEAK)
}

/** Takes the block's sample peak into the lane's row; gives the highest |sample| that the block's points are made from. */
function raiseToSamples(plan: MeterPlan, address: usize, lane: i32, row: usize, frames: i32): f64 {
  const peak = load<f64>(address + BLOCK_PEAKS + lane * SAMPLE)
  const past = address + HISTORY_PEAKS + lane * SAMPLE
  const before = load<f64>(past)
  const reach = Math.max(peak, before)
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

function interpolate(plan: MeterPlan, address: usize, lane: i32, row: usize, frames: i32): void {
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

/** K-weights every channel in place and adds up its energy, then that of the fold-down. */
function weigh(plan: MeterPlan, address: usize, frames: i32): void {
  const pairs = plan.channelPairs
  for (let pair = 0; pair < pairs; pair++) {
    weighPair(
      address + LANES + pair * PAIR,
      plan.laneBytes,
      frames,
      address + STATES + pair * STATE,
      plan.coefficients,
      address + ENERGIES + pair * PAIR,
    )
  }
  if (pairs > 1) weighFoldDown(plan, address, frames)
}

/**
 * Shelf: w[n] = x - a1 w[n-1] - a2 w[n-2], y = x + g1 w[n-1] + g2 w[n-2] (its b0 is left to the energy).
 * High-pass, with s and r the first and second running sum of its output z: s' = y - e2 r + f s, z = s' - s, r' = r + s.
 * This form keeps full precision beside a large DC offset, which direct forms lose at a corner of 38 Hz.
 */
function weighPair(p: usize, stride: i32, frames: i32, state: usize, coefficients: usize, energy: usize): void {
  const g1 = v128.load(coefficients)
  const g2 = v128.load(coefficients, 16)
  const a1 = v128.load(coefficients, 32)
  const a2 = v128.load(coefficients, 48)
  const e2 = v128.load(coefficients, 64)
  const f = v128.load(coefficients, 80)
  let w1 = v128.load(state)
  let w2 = v128.load(state, 16)
  let s = v128.load(state, 32)
  let r = v128.load(state, 48)
  let sum = v128.load(energy)
  for (let i = 0; i < frames; i++) {
    const x = v128.load(p)
    const y = f64x2.add(f64x2.add(x, f64x2.mul(g2, w2)), f64x2.mul(g1, w1))
    const w = f64x2.sub(f64x2.sub(x, f64x2.mul(a2, w2)), f64x2.mul(a1, w1))
    const next = f64x2.add(f64x2.sub(y, f64x2.mul(e2, r)), f64x2.mul(f, s))
    const z = f64x2.sub(next, s)
    v128.store(p, z)
    sum = f64x2.add(sum, f64x2.mul(z, z))
    r = f64x2.add(r, s)
    s = next
    w2 = w1
    w1 = w
    p += stride
  }
  v128.store(state, w1)
  v128.store(state, w2, 16)
  v128.store(state, s, 32)
  v128.store(state, r, 48)
  v128.store(energy, sum)
}

function weighFoldDown(plan: MeterPlan, address: usize, frames: i32): void {
  fold(plan, address, frames)
  const stride = plan.laneBytes
  const energy = address + ENERGIES + plan.channelPairs * PAIR
  let p = address + LANES + stride - PAIR
  let sum = v128.load(energy)
  for (let i = 0; i < frames; i++) {
    const z = v128.load(p)
    sum = f64x2.add(sum, f64x2.mul(z, z))
    p += stride
  }
  v128.store(energy, sum)
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
    plan.peakRow = moveRow(address + HOP_PEAKS, plan.peakRow, plan.laneBytes)
  }
}

function moveRow(from: usize, to: usize, bytes: i32): usize {
  memory.copy(to, from, bytes)
  memory.fill(from, 0, bytes)
  return to + bytes
}

/** Filter memory below `SILENCE` becomes 0. A filter rings down far slower than from there to a denormal in 10 ms. */
function silenceFilters(states: usize): void {
  const silence = f64x2.splat(SILENCE)
  for (let p = states; p < states + MOST_PAIRS * STATE; p += PAIR) {
    const memory = v128.load(p)
    v128.store(p, v128.and(memory, f64x2.gt(f64x2.abs(memory), silence)))
  }
}
