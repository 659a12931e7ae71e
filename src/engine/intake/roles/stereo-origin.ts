import { powerToDb, printFigure, type Role, type StereoOrigin } from '../../../domain/index.ts'
import { SILENT_POWER } from './order.ts'
import type { RolesSummary } from './summary.ts'

/** A centre of its own holds what L and R do not; one made of them leaves nothing over. */
const DERIVED_CENTRE = 0.93
/** Surrounds made of the fronts by delay and filter; rooms and beds of their own leave more over. */
const DERIVED_SURROUND = 0.85
/** Where the centre is made of L and R, surrounds through decorrelators still show this much. */
const DECORRELATED_SURROUND = 0.5
/** Delays of surrounds made of the fronts (common practice). */
const SHORTEST_DELAY_SECONDS = 0.003
const CLEAR_LAG_SHARE = 0.6
/**
 * Weights that change with the moment leave the parts in phase with each other, C and surrounds too, although no steady
 * filter makes one of the other.
 */
const IN_PHASE_PEAK = 0.85
const IN_PHASE_CENTRE_PEAK = 0.75
/** What L and R had in common is then in C: they share less than a stereo mix's two sides do. */
const LARGEST_FRONT_COHERENCE = 0.12

/** Signs that C and the surrounds were made of two tracks; null where there are none. */
export function findStereoOrigin(
  summary: RolesSummary,
  roles: readonly Role[],
  sampleRateHz: number,
): StereoOrigin | null {
  const fronts = (summary.powers[0]! + summary.powers[1]!) / 2
  const derived = roles.flatMap((role, channel) => {
    const share = summary.derivedShares[channel]
    if (share == null || summary.powers[channel]! < SILENT_POWER) return []
    const lag = lagOf(summary, channel)
    const lagMs = lag === null ? null : (1000 * lag) / sampleRateHz
    return [{ role, share, lagMs, gainDb: powerToDb(summary.powers[channel]! / Math.max(1e-20, fronts)) }]
  })
  const centre = derived.find(({ role }) => role === 'C')
  const surrounds = derived.filter(({ role }) => role !== 'C')
  const isCentreMade = centre !== undefined && centre.share >= DERIVED_CENTRE
  const made = surrounds.filter(({ share }) => share >= (isCentreMade ? DECORRELATED_SURROUND : DERIVED_SURROUND))
  const areSurroundsMade = surrounds.length > 0 && made.length === surrounds.length
  const areDelayed =
    areSurroundsMade && made.every(({ lagMs }) => lagMs !== null && lagMs >= 1000 * SHORTEST_DELAY_SECONDS)
  if (isWeighted(summary, roles)) {
    const sentence =
      'C and the surrounds hold parts of L and R in phase, by weights that change: as an upmix makes them.'
    return { confidence: 0.5, derived, evidence: [sentence] }
  }
  // A bed in fronts and surrounds at once, without delay, is a mixer's choice: it says nothing alone.
  if (!isCentreMade && !areDelayed) return null
  if (!areSurroundsMade) return null
  return {
    confidence: isCentreMade && areDelayed ? 0.95 : isCentreMade ? 0.85 : 0.6,
    derived,
    evidence: derived.map(sentenceOf),
  }
}

function isWeighted(summary: RolesSummary, roles: readonly Role[]): boolean {
  const [c, ls, rs] = [roles.indexOf('C'), roles.indexOf('Ls'), roles.indexOf('Rs')]
  const isInPhase = (a: number, b: number, least: number) => {
    const { lag } = summary.pair(a, b)
    return lag !== null && lag.frames === 0 && lag.share >= CLEAR_LAG_SHARE && lag.peak >= least
  }
  return (
    (summary.pair(0, 1).coherence ?? 1) <= LARGEST_FRONT_COHERENCE &&
    [
      [0, ls],
      [1, rs],
    ].every(([front, surround]) => isInPhase(front!, surround!, IN_PHASE_PEAK)) &&
    [
      [0, c],
      [1, c],
      [c, ls],
      [c, rs],
    ].every(([a, b]) => isInPhase(a!, b!, IN_PHASE_CENTRE_PEAK))
  )
}

/** The common delay of a channel behind the front that it follows most clearly. */
function lagOf(summary: RolesSummary, channel: number): number | null {
  const lags = [0, 1].map((front) => summary.pair(front, channel).lag).filter((lag) => lag !== null)
  const best = lags.toSorted((a, b) => Math.abs(b.peak) * b.share - Math.abs(a.peak) * a.share)[0]
  return best === undefined || best.share < CLEAR_LAG_SHARE ? null : best.frames
}

function sentenceOf({ role, share, lagMs, gainDb }: StereoOrigin['derived'][number]): string {
  const lag = lagMs === null ? '' : ` ${lagMs.toFixed(1)} ms behind them`
  return `${Math.round(100 * share)} % of ${role} follows from L and R,${lag} at ${printFigure(gainDb)} dB.`
}
