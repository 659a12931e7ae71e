import { dbToPower, powerToDb } from '../elementary.ts'
import { HOPS_PER_SECOND } from '../grid.ts'
import type { LfeFigures, Measured } from '../measurements.ts'
import { SHORT_TERM_SECONDS, windowMeans } from './windows.ts'

/**
 * Where the low end of the fronts ends that the LFE is held against: the LFE's own band.
 * @source ATSC A/52, bandwidth of the LFE (from memory)
 */
export const FRONT_LOW_END_HZ = 120

/** Windows of 3 s on the grid of 100 ms. */
export const LFE_WINDOW_HOPS = SHORT_TERM_SECONDS * HOPS_PER_SECOND

/** Fronts that hold less than this count as holding so much: against silence nothing can be measured. */
const LEAST_FRONTS_DBFS = -70

/** Mean squares of each 100 ms of a stretch: of the LFE, and of the low end of L, R and C together. */
export type SubLevels = { readonly lfe100ms: Float64Array; readonly fronts100ms: Float64Array }

/** The window in which the LFE stands highest, dB, and the hop of the part with which it begins. */
export type LfePeak = { readonly db: number; readonly part: number; readonly hop: number }

/** The levels of the sub in the stretches of a programme; null where nobody asked for them. */
export function subLevels(parts: readonly Pick<Measured, 'sub100ms'>[]): readonly SubLevels[] | null {
  const levels = parts.flatMap(({ sub100ms }) => (sub100ms === undefined ? [] : [subOfHops(sub100ms)]))
  return levels.length < parts.length ? null : levels
}

/** Takes the two values of each hop apart. */
export function subOfHops(sub100ms: Float64Array): SubLevels {
  return { lfe100ms: sub100ms.filter((_, i) => i % 2 === 0), fronts100ms: sub100ms.filter((_, i) => i % 2 === 1) }
}

/** Highest level of the LFE in 3 s, dBFS RMS; null where it is silent or no window fits. */
export function highestLfe(parts: readonly SubLevels[]): LfePeak | null {
  return highestOf(parts.map(({ lfe100ms }) => windowMeans(lfe100ms, LFE_WINDOW_HOPS)))
}

/**
 * How far the LFE stands above the low end of the fronts at most, in 3 s, dB. Where the fronts hold less low end than the
 * programme does on average it is held against that average: a boom over silence is not asked to vanish. Null where the
 * LFE is silent or no window fits.
 */
export function highestLfeOverFronts(parts: readonly SubLevels[]): LfePeak | null {
  const least = leastFronts(parts.map(({ fronts100ms }) => fronts100ms))
  return highestOf(
    parts.map(({ lfe100ms, fronts100ms }) => {
      const against = windowMeans(fronts100ms, LFE_WINDOW_HOPS)
      return windowMeans(lfe100ms, LFE_WINDOW_HOPS).map((power, hop) => power / Math.max(against[hop] as number, least))
    }),
  )
}

/** What any window of the fronts counts at least: the mean of the programme. */
export function leastFronts(parts: readonly Float64Array[]): number {
  const count = parts.reduce((sum, { length }) => sum + length, 0)
  const sum = parts.reduce((all, part) => part.reduce((sumOfPart, power) => sumOfPart + power, all), 0)
  return Math.max(count === 0 ? 0 : sum / count, dbToPower(LEAST_FRONTS_DBFS))
}

/** The figures of the sub; null where nobody asked for them. */
export function lfeFigures(parts: readonly Measured[]): LfeFigures | null {
  const levels = subLevels(parts)
  if (levels === null) return null
  return {
    maxShortTermDbfs: highestLfe(levels)?.db ?? null,
    overFrontsDb: highestLfeOverFronts(levels)?.db ?? null,
  }
}

function highestOf(parts: readonly Float64Array[]): LfePeak | null {
  let highest = { power: 0, part: 0, hop: 0 }
  for (const [part, powers] of parts.entries()) {
    for (const [hop, power] of powers.entries()) if (power > highest.power) highest = { power, part, hop }
  }
  const { power, part, hop } = highest
  return power === 0 ? null : { db: powerToDb(power), part, hop }
}
