// The settings of the compressor that meet the lines of a spec: all of a grid, conforming ones only.
import type { DeliverySpec } from '../../src/domain/index.ts'
import { type CompressorSettings, compressed, figuresUnder, levelsOf } from './compressor.ts'

/** At control points of 10 ms; 0 is at once, and no edge: nothing lies beyond. */
const ATTACKS = [0, 0.02, 0.1, 0.5, 2]
/** The long ones first: they move least, and spare measuring others. */
const RELEASES = [480, 240, 120, 60, 30, 15, 8, 3, 1, 0.3]
/** The last one is as good as a limiter, and no edge either. */
const RATIOS = [1.5, 2, 3, 5, 10, 20, 1000]
/** Of the comparison; longer ones are told beside it. */
const LONGEST_RELEASE_SECONDS = 30
/** Thresholds below the highest momentary loudness. */
const DEEPEST_DB = 30
const STEP_DB = 1

export type Way = {
  readonly settings: CompressorSettings
  /** Gain in dB in 10 ms, the make-up gain that lands the total on the target included. */
  readonly gainDb: Float64Array
  readonly movementDb: number
}

/** Sum of all rises and falls on the grid of 100 ms. */
export function movementOf(gainDb: Float64Array): number {
  let moved = 0
  for (let i = 15; i < gainDb.length; i += 10) moved += Math.abs(gainDb[i]! - gainDb[i - 10]!)
  return moved
}

/**
 * For each attack, release and ratio the highest threshold that conforms; of all these the one that moves least. A
 * release longer than 30 s lets go of nothing within a minute: it is a fader that was pulled down once.
 */
export function leastMovingCompressor(
  energies: Float64Array,
  spec: DeliverySpec,
  longestReleaseSeconds = LONGEST_RELEASE_SECONDS,
): Way | null {
  const levels = levelsOf(energies)
  const highest = figuresUnder(energies, new Float64Array(energies.length)).maxMomentaryLkfs
  let best: Way | null = null
  for (const attackSeconds of ATTACKS) {
    for (const releaseSeconds of RELEASES.filter((seconds) => seconds <= longestReleaseSeconds)) {
      for (const ratio of RATIOS) {
        for (let belowDb = 0; belowDb <= DEEPEST_DB; belowDb += STEP_DB) {
          const settings = { thresholdLkfs: highest - belowDb, ratio, attackSeconds, releaseSeconds }
          const bare = compressed(levels, settings)
          // Lower thresholds move more: what already moves more than the best need not be measured.
          if (best !== null && movementOf(bare) >= best.movementDb) break
          const way = onTarget(energies, bare, settings, spec)
          if (way.conforms) {
            best = way
            break
          }
        }
      }
    }
  }
  return best
}

/** Whether a setting lies at an edge of what was searched, beyond which there is more, by name. */
export function edgesOf({ attackSeconds, releaseSeconds, ratio }: CompressorSettings): string[] {
  return [
    ...(attackSeconds === ATTACKS.at(-1) ? ['attack'] : []),
    ...(releaseSeconds === LONGEST_RELEASE_SECONDS || releaseSeconds === RELEASES.at(-1) ? ['release'] : []),
    ...(ratio === RATIOS[0] ? ['ratio'] : []),
  ]
}

function onTarget(energies: Float64Array, bare: Float64Array, settings: CompressorSettings, spec: DeliverySpec) {
  const figures = figuresUnder(energies, bare)
  const makeUpDb = spec.programmeLoudness.targetLkfs - figures.totalLkfs
  const within = (value: number, limit: { value: number } | undefined) => limit === undefined || value <= limit.value
  const conforms =
    within(figures.maxShortTermLkfs + makeUpDb, spec.maxShortTermLkfs) &&
    within(figures.maxMomentaryLkfs + makeUpDb, spec.maxMomentaryLkfs) &&
    within(figures.rangeLu, spec.maxLoudnessRangeLu)
  return { settings, gainDb: bare.map((db) => db + makeUpDb), movementDb: movementOf(bare), conforms }
}
