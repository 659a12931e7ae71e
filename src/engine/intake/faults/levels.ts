import {
  FINE_HOPS_PER_HOP,
  foldDownCoefficients,
  framesPerFineHop,
  framesPerHop,
  hasFoldDown,
  LAYOUTS,
  type LayoutName,
  powerToDb,
  type Role,
} from '../../../domain/index.ts'
import type { Stretch } from '../detector.ts'
import type { LevelEvidence } from './evidence.ts'

/** Fine levels are half decibels above this. */
const FINE_LEVEL_FLOOR_DB = -127
const FINE_LEVEL_STEPS_PER_DB = 2

/** The pairs of channels whose polarity belongs together. The centre is compared with L + R. */
export function pairsOf(layout: LayoutName): readonly (readonly [Role, Role])[] {
  const roles = LAYOUTS[layout]
  const pairs: readonly (readonly [Role, Role])[] = [
    ['L', 'R'],
    ['Ls', 'Rs'],
    ['Lrs', 'Rrs'],
  ]
  return pairs.filter(([left]) => roles.includes(left))
}

/** The mean square level that a fine level stands for. */
export function fineLevelDb(fineLevel: number): number {
  return fineLevel / FINE_LEVEL_STEPS_PER_DB + FINE_LEVEL_FLOOR_DB
}

export function lookAtLevels(stretch: Stretch): LevelEvidence {
  const { layout, frameCount, sampleRateHz, leadFrames } = stretch
  const channelCount = stretch.planes.length
  const hopCount = Math.ceil(frameCount / framesPerHop(sampleRateHz))
  const fineHopCount = Math.ceil(frameCount / framesPerFineHop(sampleRateHz))
  const evidence = {
    hopCount,
    fineLevels: new Uint8Array(fineHopCount * channelCount),
    energies: new Float32Array(hopCount * channelCount),
    sums: new Float32Array(hopCount * channelCount),
    products: new Float32Array(hopCount * (pairsOf(layout).length + (LAYOUTS[layout].includes('C') ? 1 : 0))),
    frontSums: new Float32Array(hopCount),
    sides: new Float32Array(hopCount * 2),
    peaks: new Float32Array(channelCount),
  }
  stretch.planes.forEach((plane, channel) => {
    const own = plane.subarray(leadFrames, leadFrames + frameCount)
    addChannel(evidence, own, channel, channelCount, framesPerFineHop(sampleRateHz))
  })
  addPairs(evidence, stretch)
  addSides(evidence, stretch)
  return evidence
}

function addChannel(
  evidence: LevelEvidence,
  plane: Float32Array,
  channel: number,
  channelCount: number,
  fineHopFrames: number,
): void {
  let peak = 0
  for (let start = 0, fineHop = 0; start < plane.length; start += fineHopFrames, fineHop++) {
    const end = Math.min(plane.length, start + fineHopFrames)
    let energy = 0
    let sum = 0
    for (let frame = start; frame < end; frame++) {
      const sample = plane[frame] as number
      energy += sample * sample
      sum += sample
      if (sample > peak) peak = sample
      else if (-sample > peak) peak = -sample
    }
    const row = Math.floor(fineHop / FINE_HOPS_PER_HOP) * channelCount + channel
    evidence.energies[row] = (evidence.energies[row] as number) + energy
    evidence.sums[row] = (evidence.sums[row] as number) + sum
    const levelDb = powerToDb(energy / (end - start)) - FINE_LEVEL_FLOOR_DB
    const level = Math.max(0, Math.min(255, Math.round(levelDb * FINE_LEVEL_STEPS_PER_DB)))
    evidence.fineLevels[fineHop * channelCount + channel] = level
  }
  evidence.peaks[channel] = peak
}

function addPairs(evidence: LevelEvidence, stretch: Stretch): void {
  const { layout, planes, leadFrames, frameCount } = stretch
  const roles = LAYOUTS[layout]
  const plane = (role: Role) => planes[roles.indexOf(role)] as Float32Array
  const hopFrames = framesPerHop(stretch.sampleRateHz)
  const pairs = pairsOf(layout)
  const hasCentre = roles.includes('C')
  const rowLength = pairs.length + (hasCentre ? 1 : 0)
  for (let hop = 0; hop < evidence.hopCount; hop++) {
    const start = leadFrames + hop * hopFrames
    const end = Math.min(leadFrames + frameCount, start + hopFrames)
    pairs.forEach(([left, right], pair) => {
      evidence.products[hop * rowLength + pair] = product(plane(left), plane(right), start, end)
    })
    if (!hasCentre) continue
    const [left, right, centre] = [plane('L'), plane('R'), plane('C')]
    let across = 0
    let energy = 0
    for (let frame = start; frame < end; frame++) {
      const front = (left[frame] as number) + (right[frame] as number)
      across += front * (centre[frame] as number)
      energy += front * front
    }
    evidence.products[hop * rowLength + pairs.length] = across
    evidence.frontSums[hop] = energy
  }
}

function product(a: Float32Array, b: Float32Array, start: number, end: number): number {
  let sum = 0
  for (let frame = start; frame < end; frame++) sum += (a[frame] as number) * (b[frame] as number)
  return sum
}

/** Energy of both sides, and of their sum: of Lo and Ro where the layout folds down. */
function addSides(evidence: LevelEvidence, stretch: Stretch): void {
  const { layout, planes, leadFrames, frameCount } = stretch
  if (layout === 'mono') return
  const hopFrames = framesPerHop(stretch.sampleRateHz)
  if (!hasFoldDown(layout)) {
    for (let hop = 0; hop < evidence.hopCount; hop++) {
      const both = (evidence.energies[2 * hop] as number) + (evidence.energies[2 * hop + 1] as number)
      evidence.sides[2 * hop] = both
      evidence.sides[2 * hop + 1] = Math.max(0, both + 2 * (evidence.products[hop] as number))
    }
    return
  }
  const coefficients = foldDownCoefficients(layout)
  const lo = new Float64Array(hopFrames)
  const ro = new Float64Array(hopFrames)
  for (let hop = 0; hop < evidence.hopCount; hop++) {
    const start = leadFrames + hop * hopFrames
    const frames = Math.min(leadFrames + frameCount, start + hopFrames) - start
    lo.fill(0)
    ro.fill(0)
    planes.forEach((plane, channel) => {
      const [toLo, toRo] = coefficients[channel] as readonly [number, number]
      if (toLo !== 0) addScaled(lo, plane, start, frames, toLo)
      if (toRo !== 0) addScaled(ro, plane, start, frames, toRo)
    })
    let both = 0
    let sum = 0
    for (let frame = 0; frame < frames; frame++) {
      const left = lo[frame] as number
      const right = ro[frame] as number
      both += left * left + right * right
      sum += (left + right) * (left + right)
    }
    evidence.sides[2 * hop] = both
    evidence.sides[2 * hop + 1] = sum
  }
}

function addScaled(to: Float64Array, plane: Float32Array, start: number, frames: number, gain: number): void {
  for (let frame = 0; frame < frames; frame++) {
    to[frame] = (to[frame] as number) + gain * (plane[start + frame] as number)
  }
}
