import type { GainPlan } from '../../src/domain/index.ts'

export type Reading = {
  readonly totalLkfs: number | null
  readonly maxShortTermLkfs: number | null
  readonly maxMomentaryLkfs: number | null
}

/**
 * What a meter reads of 10 ms energies under the static gain and ride of a plan, written down from the definitions
 * with no regard to speed: gain linear in dB between hop centres and held outside them, windows at every 10 ms,
 * gating blocks of 400 ms at every 100 ms.
 * @source ITU-R BS.1770-5 Annex 1 (gates -70 LKFS and -10 LU); EBU Tech 3341 (windows of 0.4 s and 3 s)
 */
export function readingUnder(energies10ms: Float64Array, plan: GainPlan | null): Reading {
  const gained = Array.from(energies10ms, (energy, i) => energy * 10 ** (gainAt((i + 0.5) / 100, plan) / 10))
  const means = (first: number, length: number) =>
    gained.slice(first, first + length).reduce((sum, energy) => sum + energy, 0) / length
  const windows = (length: number, every: number) => {
    const found: number[] = []
    for (let first = 0; first + length <= gained.length; first += every) found.push(means(first, length))
    return found
  }
  const whole = gained.length - (gained.length % 10)
  const blocks = windows(40, 10).slice(0, Math.max(0, whole / 10 - 3))
  const audible = blocks.filter((block) => loudness(block) > -70)
  const relativeGate = loudness(mean(audible)) - 10
  const counted = audible.filter((block) => loudness(block) > relativeGate)
  return {
    totalLkfs: counted.length === 0 ? null : loudness(mean(counted)),
    maxShortTermLkfs: highest(windows(300, 1)),
    maxMomentaryLkfs: highest(windows(40, 1)),
  }
}

function gainAt(seconds: number, plan: GainPlan | null): number {
  if (plan === null) return 0
  if (plan.rideDb === null) return plan.staticGainDb
  const last = plan.rideDb.length - 1
  const position = Math.min(Math.max(seconds * 10 - 0.5, 0), last)
  const before = Math.min(Math.floor(position), last)
  const after = Math.min(before + 1, last)
  const share = position - before
  return plan.staticGainDb + (1 - share) * (plan.rideDb[before] as number) + share * (plan.rideDb[after] as number)
}

function mean(values: readonly number[]): number {
  return values.reduce((sum, value) => sum + value, 0) / values.length
}

function loudness(energy: number): number {
  return -0.691 + 10 * Math.log10(energy)
}

function highest(windows: readonly number[]): number | null {
  const loudest = windows.reduce((best, window) => Math.max(best, window), 0)
  return loudest > 0 ? loudness(loudest) : null
}
