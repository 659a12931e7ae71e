// What a gain over time changes of the sound, in figures beside its movement.
import { median } from '../table.ts'
import { loudness } from './compressor.ts'
import { dialogueAgainstBackground, movesOf } from './ears.ts'
import type { Prepared } from './prepared.ts'
import { movementOf } from './searched.ts'

const HOPS_PER_SECOND = 100
const OCTAVES_FROM_HZ = [0.5, 1, 2, 4, 8]
/** A longer programme is taken minute by minute. */
const MODULATION_HOPS = 60 * HOPS_PER_SECOND

export type Heard = {
  readonly movementDb: number
  readonly slewDbPerSecond: number
  /** Below the highest gain, summed over time. */
  readonly areaDbSeconds: number
  readonly movingShare: number
  /** Of the 3 s loudness before and after, where it is above -70. */
  readonly correlation: number
  /** Median change, in dB. */
  readonly peakToShortTermDb: number
  readonly crestDb: number
  /** 95th percentile of the change without its sign, in dB. */
  readonly crestWorstDb: number
  /** Change of each octave from 0.5 to 16 Hz, in dB. */
  readonly modulationDb: readonly number[]
  /** Median without its sign, in LU. */
  readonly dialogueLu: number
  readonly linesMoved: number
  readonly lines: number
}

export function heardUnder(gainDb: Float64Array, programme: Prepared): Heard {
  const { mix10ms, peak10ms, power10ms } = programme
  const gained = (values: Float64Array, powerOf: 10 | 20) => values.map((x, i) => x * 10 ** (gainDb[i]! / powerOf))
  const changes = dialogueAgainstBackground(gainDb, programme).map(Math.abs)
  const { inLines } = movesOf(gainDb, programme)
  const home = gainDb.reduce((most, db) => Math.max(most, db), -200)
  const steps = stepsOf(gainDb)
  const psr = differences(
    shortTermCrest(gained(peak10ms, 20), gained(mix10ms, 10), 300),
    shortTermCrest(peak10ms, mix10ms, 300),
  )
  const crest = differences(
    shortTermCrest(gained(peak10ms, 20), gained(power10ms, 10), 40),
    shortTermCrest(peak10ms, power10ms, 40),
  )
  return {
    movementDb: movementOf(gainDb),
    slewDbPerSecond: 10 * steps.reduce((most, step) => Math.max(most, step), 0),
    areaDbSeconds: gainDb.reduce((sum, db) => sum + (home - db), 0) / HOPS_PER_SECOND,
    movingShare: steps.filter((step) => step > 0.005).length / steps.length,
    correlation: correlationOf(shortTerm(mix10ms), shortTerm(gained(mix10ms, 10))),
    peakToShortTermDb: median(psr),
    crestDb: median(crest),
    crestWorstDb: crest.map(Math.abs).sort((a, b) => a - b)[Math.floor(0.95 * crest.length)]!,
    modulationDb: changedModulation(mix10ms, gained(mix10ms, 10)),
    dialogueLu: changes.length === 0 ? Number.NaN : median(changes),
    linesMoved: inLines.filter((db) => db > 0.5).length,
    lines: inLines.length,
  }
}

/** Change from each 100 ms to the next, without its sign. */
function stepsOf(gainDb: Float64Array): number[] {
  const steps: number[] = []
  for (let i = 15; i < gainDb.length; i += 10) steps.push(Math.abs(gainDb[i]! - gainDb[i - 10]!))
  return steps
}

function shortTerm(energies: Float64Array): Float64Array {
  const found: number[] = []
  for (let at = 0; at + 300 <= energies.length; at += 10) {
    found.push(loudness(energies.subarray(at, at + 300).reduce((sum, energy) => sum + energy, 0) / 300))
  }
  return Float64Array.from(found)
}

/** Highest sample over the mean power of windows, in dB; NaN below -70. */
function shortTermCrest(peaks: Float64Array, powers: Float64Array, hops: number): number[] {
  const found: number[] = []
  for (let at = 0; at + hops <= powers.length; at += 20) {
    const power = powers.subarray(at, at + hops).reduce((sum, x) => sum + x, 0) / hops
    const peak = peaks.subarray(at, at + hops).reduce((most, x) => Math.max(most, x), 0)
    found.push(power > 1e-7 ? 20 * Math.log10(peak) - 10 * Math.log10(power) : Number.NaN)
  }
  return found
}

const differences = (after: readonly number[], before: readonly number[]) =>
  after.map((value, i) => value - before[i]!).filter(Number.isFinite)

function correlationOf(before: Float64Array, after: Float64Array): number {
  const pairs = [...before].map((x, i) => [x, after[i]!] as const).filter(([x, y]) => x > -70 && y > -70)
  const mean = (at: 0 | 1) => pairs.reduce((sum, pair) => sum + pair[at], 0) / pairs.length
  const [meanX, meanY] = [mean(0), mean(1)]
  let [xy, xx, yy] = [0, 0, 0]
  for (const [x, y] of pairs) {
    xy += (x - meanX) * (y - meanY)
    xx += (x - meanX) ** 2
    yy += (y - meanY) ** 2
  }
  return xy / Math.sqrt(xx * yy)
}

function changedModulation(before: Float64Array, after: Float64Array): number[] {
  const reference = modulationOf(before)
  return modulationOf(after).map((power, band) => 10 * Math.log10(power / reference[band]!))
}

/**
 * Power of the intensity envelope in octaves from 0.5 Hz, over the square of its mean.
 * @source Houtgast and Steeneken 1985, modulation of the intensity envelope (from memory)
 */
function modulationOf(energies: Float64Array): number[] {
  const length = Math.min(energies.length, MODULATION_HOPS)
  const mean = energies.reduce((sum, x) => sum + x, 0) / energies.length
  const parts = Math.floor(energies.length / length)
  return OCTAVES_FROM_HZ.map((from) => {
    let power = 0
    for (let part = 0; part < parts; part++) {
      power += octavePower(energies.subarray(part * length, (part + 1) * length), from) / parts
    }
    return power / mean ** 2
  })
}

function octavePower(energies: Float64Array, fromHz: number): number {
  const length = energies.length
  let power = 0
  const first = Math.ceil((fromHz * length) / HOPS_PER_SECOND)
  for (let bin = first; bin < 2 * first; bin++) {
    const angle = (2 * Math.PI * bin) / length
    const [turnRe, turnIm] = [Math.cos(angle), Math.sin(angle)]
    let [re, im, c, s] = [0, 0, 1, 0]
    for (let n = 0; n < length; n++) {
      re += energies[n]! * c
      im += energies[n]! * s
      const next = c * turnRe - s * turnIm
      s = s * turnRe + c * turnIm
      c = next
    }
    power += (re * re + im * im) / length ** 2
  }
  return power
}
