// What the points of a block can come to, without computing one: its note says of each lane how high the samples are
// that they are made of, and how high the second differences of these.
import {
  BLOCK_PEAKS,
  FOLD_DOWN_K,
  HISTORY,
  HOP_PEAKS,
  LANES,
  MeterPlan,
  NOTE,
  NOTE_CURVES,
  NOTE_PEAKS,
  NOTES,
  PAIR,
  PAST_PEAKS,
  TRUE_PEAKS,
} from './meter-plan'
import { BY_PEAK } from './true-peak'

/** |x[n-1] - 2 x[n] + x[n+1]| is at most four times the highest |x|. */
const MOST_CURVE: f64 = 4

/** Writes the note of a block. Second differences are looked for where a point could exceed what is known already. */
export function noteBlock(plan: MeterPlan, address: usize, frames: i32): void {
  const keepsHistory = plan.truePeakTable !== 0
  const index = keepsHistory ? plan.blocksInHop : 0
  const note = address + NOTES + index * NOTE
  plan.note = note
  plan.blocksInHop += 1
  store<i32>(note, plan.framesInHop)
  store<i32>(note, frames, 4)
  const floors = keepsHistory ? address + HOP_PEAKS : plan.peaks + TRUE_PEAKS
  let wanted = 0
  for (let offset: usize = 0; offset < <usize>plan.laneBytes; offset += PAIR) {
    const reach = f64x2.pmax(v128.load(address + offset, BLOCK_PEAKS), v128.load(address + offset, PAST_PEAKS))
    v128.store(note + offset, reach, NOTE_PEAKS)
    v128.store(note + offset, f64x2.mul(reach, f64x2.splat(MOST_CURVE)), NOTE_CURVES)
    const above = f64x2.gt(f64x2.mul(reach, f64x2.splat(BY_PEAK)), v128.load(floors + offset))
    wanted |= i64x2.bitmask(above) << (<i32>offset / 8)
  }
  if (wanted !== 0) noteCurves(plan, address, frames, wanted)
}

/**
 * `wanted` has a bit for each lane. The second differences of the fold-down are not looked for: they are at most the
 * fold-down of those of the channels.
 */
function noteCurves(plan: MeterPlan, address: usize, frames: i32, wanted: i32): void {
  const curves = plan.note + NOTE_CURVES
  const isFolded = plan.channelPairs > 1 && wanted >> (2 * plan.channelPairs) !== 0
  let pair = 0
  if (isFolded) {
    highestCurves(address + LANES, plan.laneBytes, frames, curves)
    pair = 3
  }
  for (; pair < plan.channelPairs; pair++) {
    if (!isFolded && ((wanted >> (2 * pair)) & 3) === 0) continue
    v128.store(curves + pair * PAIR, highestCurve(address + LANES + pair * PAIR, plan.laneBytes, frames))
  }
  if (!isFolded) return
  const centre = v128.load(curves, PAIR)
  let others = f64x2.add(i64x2.shuffle(centre, centre, 0, 0), v128.load(curves, 2 * PAIR))
  if (plan.channelPairs === 4) others = f64x2.add(others, v128.load(curves, 3 * PAIR))
  const folded = f64x2.add(v128.load(curves), f64x2.mul(v128.load(plan.coefficients, FOLD_DOWN_K), others))
  v128.store(curves + plan.laneBytes - PAIR, folded)
}

/** Highest |second difference| that enters the points of a block, for both lanes of a pair. */
function highestCurve(pair: usize, stride: i32, frames: i32): v128 {
  let p = pair - (HISTORY - 1) * stride
  let here = v128.load(p + stride)
  let slope = f64x2.sub(here, v128.load(p))
  let highest = f64x2.splat(0)
  const end = pair + frames * stride
  for (p += 2 * stride; p < end; p += stride) {
    const after = v128.load(p)
    const nextSlope = f64x2.sub(after, here)
    highest = f64x2.pmax(highest, f64x2.abs(f64x2.sub(nextSlope, slope)))
    here = after
    slope = nextSlope
  }
  return highest
}

/** The same for the first three pairs at once. */
function highestCurves(p: usize, stride: i32, frames: i32, curves: usize): void {
  const end = p + frames * stride
  p -= (HISTORY - 1) * stride
  let a = v128.load(p + stride)
  let b = v128.load(p + stride, PAIR)
  let c = v128.load(p + stride, 2 * PAIR)
  let slopeA = f64x2.sub(a, v128.load(p))
  let slopeB = f64x2.sub(b, v128.load(p, PAIR))
  let slopeC = f64x2.sub(c, v128.load(p, 2 * PAIR))
  let highestA = f64x2.splat(0)
  let highestB = highestA
  let highestC = highestA
  for (p += 2 * stride; p < end; p += stride) {
    const nextA = v128.load(p)
    a = f64x2.sub(nextA, a)
    highestA = f64x2.pmax(highestA, f64x2.abs(f64x2.sub(a, slopeA)))
    slopeA = a
    a = nextA
    const nextB = v128.load(p, PAIR)
    b = f64x2.sub(nextB, b)
    highestB = f64x2.pmax(highestB, f64x2.abs(f64x2.sub(b, slopeB)))
    slopeB = b
    b = nextB
    const nextC = v128.load(p, 2 * PAIR)
    c = f64x2.sub(nextC, c)
    highestC = f64x2.pmax(highestC, f64x2.abs(f64x2.sub(c, slopeC)))
    slopeC = c
    c = nextC
  }
  v128.store(curves, highestA)
  v128.store(curves, highestB, PAIR)
  v128.store(curves, highestC, 2 * PAIR)
}
