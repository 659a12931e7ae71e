// Lo = L + k (C + Ls + Lrs), Ro = R + k (C + Rs + Rrs) (ITU-R BS.775-4), and what is taken of all lanes at once.
// The K-weighting is linear, so the fold-down of the filtered channels is the filtered fold-down: it costs no filter.
import { BLOCK_PEAKS, ENERGIES, FOLD_DOWN_K, HOP_PEAKS, LANES, MeterPlan, PAIR } from './meter-plan'

/** Folds the samples into the last pair and takes the highest |sample| of every lane of the block. */
export function takeSamplePeaks(plan: MeterPlan, address: usize, frames: i32): void {
  const lanes = address + LANES
  const peaks = address + BLOCK_PEAKS
  if (plan.channelPairs === 1) v128.store(peaks, highestSamples(lanes, plan.laneBytes, frames))
  else foldSamples(plan, lanes, frames, peaks)
  for (let offset = 0; offset < plan.laneBytes; offset += PAIR) {
    const hop = address + HOP_PEAKS + offset
    v128.store(hop, f64x2.pmax(v128.load(hop), v128.load(peaks + offset)))
  }
}

/** Adds the squares of every lane of the filtered block, and of its fold-down. */
export function addEnergies(plan: MeterPlan, address: usize, frames: i32): void {
  const lanes = address + LANES
  const energies = address + ENERGIES
  if (plan.channelPairs === 1) addSquares(lanes, plan.laneBytes, frames, energies)
  else foldSquares(plan, lanes, frames, energies)
}

/** Folds the samples into the last pair; `peaks` takes the highest |sample| of every lane. */
export function foldSamples(plan: MeterPlan, p: usize, frames: i32, peaks: usize): void {
  const stride = plan.laneBytes
  const rears = plan.channelPairs === 4
  const k = v128.load(plan.coefficients, FOLD_DOWN_K)
  if (rears) v128.store(peaks, highestSamples(p + 3 * PAIR, stride, frames), 3 * PAIR)
  let frontPeak = f64x2.splat(0)
  let centrePeak = f64x2.splat(0)
  let sidePeak = f64x2.splat(0)
  let foldedPeak = f64x2.splat(0)
  for (let i = 0; i < frames; i++) {
    const front = v128.load(p)
    const centre = v128.load(p, PAIR)
    const side = v128.load(p, 2 * PAIR)
    let others = f64x2.add(i64x2.shuffle(centre, centre, 0, 0), side)
    if (rears) others = f64x2.add(others, v128.load(p, 3 * PAIR))
    const folded = f64x2.add(front, f64x2.mul(k, others))
    p += stride
    v128.store(p - PAIR, folded)
    frontPeak = f64x2.pmax(frontPeak, f64x2.abs(front))
    centrePeak = f64x2.pmax(centrePeak, f64x2.abs(centre))
    sidePeak = f64x2.pmax(sidePeak, f64x2.abs(side))
    foldedPeak = f64x2.pmax(foldedPeak, f64x2.abs(folded))
  }
  v128.store(peaks, frontPeak)
  v128.store(peaks, centrePeak, PAIR)
  v128.store(peaks, sidePeak, 2 * PAIR)
  v128.store(peaks + stride - PAIR, foldedPeak)
}

function highestSamples(p: usize, stride: i32, frames: i32): v128 {
  let highest = f64x2.splat(0)
  for (let i = 0; i < frames; i++) {
    highest = f64x2.pmax(highest, f64x2.abs(v128.load(p)))
    p += stride
  }
  return highest
}

function foldSquares(plan: MeterPlan, p: usize, frames: i32, energies: usize): void {
  const stride = plan.laneBytes
  const rears = plan.channelPairs === 4
  const k = v128.load(plan.coefficients, FOLD_DOWN_K)
  const foldedEnergy = energies + stride - PAIR
  if (rears) addSquares(p + 3 * PAIR, stride, frames, energies + 3 * PAIR)
  let frontSum = v128.load(energies)
  let centreSum = v128.load(energies, PAIR)
  let sideSum = v128.load(energies, 2 * PAIR)
  let foldedSum = v128.load(foldedEnergy)
  for (let i = 0; i < frames; i++) {
    const front = v128.load(p)
    const centre = v128.load(p, PAIR)
    const side = v128.load(p, 2 * PAIR)
    let others = f64x2.add(i64x2.shuffle(centre, centre, 0, 0), side)
    if (rears) others = f64x2.add(others, v128.load(p, 3 * PAIR))
    const folded = f64x2.add(front, f64x2.mul(k, others))
    p += stride
    frontSum = f64x2.add(frontSum, f64x2.mul(front, front))
    centreSum = f64x2.add(centreSum, f64x2.mul(centre, centre))
    sideSum = f64x2.add(sideSum, f64x2.mul(side, side))
    foldedSum = f64x2.add(foldedSum, f64x2.mul(folded, folded))
  }
  v128.store(energies, frontSum)
  v128.store(energies, centreSum, PAIR)
  v128.store(energies, sideSum, 2 * PAIR)
  v128.store(foldedEnergy, foldedSum)
}

function addSquares(p: usize, stride: i32, frames: i32, energy: usize): void {
  let sum = v128.load(energy)
  for (let i = 0; i < frames; i++) {
    const z = v128.load(p)
    sum = f64x2.add(sum, f64x2.mul(z, z))
    p += stride
  }
  v128.store(energy, sum)
}
