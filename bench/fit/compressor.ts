// Convention: a linked feed-forward compressor as the literature describes it, and what a programme reads under its gain.
// @source Giannoulis, Massberg and Reiss, "Digital Dynamic Range Compressor Design", J. Audio Eng. Soc. 60(6), 2012 (from
// memory): gain computer with a soft knee in decibels, level detection behind it by a smooth branching peak detector.
// Written for this comparison and frozen: it is not tuned, its settings are searched.

const HOPS_PER_SECOND = 100
const KNEE_DB = 6

export type CompressorSettings = {
  readonly thresholdLkfs: number
  readonly ratio: number
  readonly attackSeconds: number
  readonly releaseSeconds: number
}

/** Energies as levels, once for all settings. */
export function levelsOf(energies10ms: Float64Array): Float64Array {
  return energies10ms.map((energy) => -0.691 + 10 * Math.log10(energy + 1e-12))
}

/** Gain in dB of each 10 ms, 0 where it rests: one detector over all channels, K-weighted in 10 ms. */
export function compressed(levels: Float64Array, settings: CompressorSettings): Float64Array {
  const { thresholdLkfs, ratio, attackSeconds, releaseSeconds } = settings
  const attack = attackSeconds === 0 ? 0 : Math.exp(-1 / (attackSeconds * HOPS_PER_SECOND))
  const release = Math.exp(-1 / (releaseSeconds * HOPS_PER_SECOND))
  const slope = 1 - 1 / ratio
  let reduction = 0
  return levels.map((level) => {
    const over = level - thresholdLkfs
    const asked =
      2 * over <= -KNEE_DB
        ? 0
        : 2 * over >= KNEE_DB
          ? slope * over
          : (slope * (over + KNEE_DB / 2) ** 2) / (2 * KNEE_DB)
    const memory = asked > reduction ? attack : release
    reduction = memory * reduction + (1 - memory) * asked
    return -reduction
  })
}

export type Figures = {
  readonly totalLkfs: number
  readonly maxShortTermLkfs: number
  readonly maxMomentaryLkfs: number
  readonly rangeLu: number
}

/**
 * What meters read of energies in 10 ms under a gain.
 * @source ITU-R BS.1770-5 Annex 1 (gates); EBU Tech 3341 (windows); EBU Tech 3342 (range: -70, -20 LU, 10 to 95 %)
 */
export function figuresUnder(energies10ms: Float64Array, gainDb: Float64Array): Figures {
  const sums = new Float64Array(energies10ms.length + 1)
  for (let i = 0; i < energies10ms.length; i++) sums[i + 1] = sums[i]! + energies10ms[i]! * 10 ** (gainDb[i]! / 10)
  const windows = (length: number, every: number) => {
    const count = Math.max(0, Math.floor((energies10ms.length - length) / every) + 1)
    return Float64Array.from({ length: count }, (_, w) => (sums[w * every + length]! - sums[w * every]!) / length)
  }
  const momentary = windows(40, 1)
  const shortTerm = windows(300, 1)
  return {
    totalLkfs: gatedLoudness(momentary.filter((_, w) => w % 10 === 0)),
    maxShortTermLkfs: loudness(shortTerm.reduce((most, power) => Math.max(most, power), 0)),
    maxMomentaryLkfs: loudness(momentary.reduce((most, power) => Math.max(most, power), 0)),
    rangeLu: rangeOf(shortTerm.filter((_, w) => w % 10 === 0)),
  }
}

export const loudness = (power: number) => -0.691 + 10 * Math.log10(power)
const mean = (powers: Float64Array) => powers.reduce((sum, power) => sum + power, 0) / powers.length
const above = (powers: Float64Array, lkfs: number) => powers.filter((power) => loudness(power) > lkfs)

function gatedLoudness(blocks: Float64Array): number {
  const audible = above(blocks, -70)
  return loudness(mean(above(audible, loudness(mean(audible)) - 10)))
}

function rangeOf(windows: Float64Array): number {
  const audible = above(windows, -70)
  const counted = above(audible, loudness(mean(audible)) - 20).sort()
  const at = (share: number) => loudness(counted[Math.round(share * (counted.length - 1))]!)
  return at(0.95) - at(0.1)
}
