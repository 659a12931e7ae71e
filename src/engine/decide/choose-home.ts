import { assert, type DeliverySpec } from '../../domain/index.ts'
import type { FitModel } from './fit-model.ts'
import { type Jump, landOnTarget, leastGain, type Trial } from './land-on-target.ts'

/** The band that the total must hit, and the value in it that is aimed at. */
export type Aim = { readonly targetLkfs: number; readonly lowestLkfs: number; readonly highestLkfs: number }

/**
 * How the total came to rest. `met`: the source is on target already; `landed`: on target; `leap`: hops at a gate make
 * the total leap over the target; `tolerance`: the target cannot be reached, the tolerance can; `missed`: neither.
 */
export type Home = {
  readonly outcome: 'met' | 'landed' | 'leap' | 'tolerance' | 'missed'
  readonly homeDb: number
  readonly totalLkfs: number
  readonly jump: Jump | null
}

/** A source this near to the target is left exactly as it is. */
const MET_WITHIN_LU = 0.005
/** A leap that ends this near to the target is a landing. */
const LANDED_WITHIN_LU = 0.02
/** Where only the tolerance can be reached, the total stays this far inside of it. */
const TOLERANCE_MARGIN_LU = 0.1

export function aimOf(spec: DeliverySpec, aimShiftLu: number): Aim {
  const { targetLkfs, toleranceBelowLu, toleranceAboveLu } = spec.programmeLoudness
  return {
    targetLkfs: targetLkfs + aimShiftLu,
    lowestLkfs: targetLkfs - toleranceBelowLu + aimShiftLu,
    highestLkfs: targetLkfs + toleranceAboveLu + aimShiftLu,
  }
}

/**
 * Chooses the home gain: on target, else on the legal side of a leap, else the least movement inside the tolerance.
 * @source docs/decisions/0012
 */
export function chooseHome(model: FitModel, aim: Aim, sourceLkfs: number): Home {
  const { targetLkfs } = aim
  if (Math.abs(sourceLkfs - targetLkfs) <= MET_WITHIN_LU && model.corridor.freeGainDb >= 0) {
    return { outcome: 'met', homeDb: 0, totalLkfs: sourceLkfs, jump: null }
  }
  const distance = (trial: Trial) => Math.abs(trial.totalLkfs - targetLkfs)
  const nearest = <T extends Trial>(trials: readonly T[]) =>
    trials.reduce<T | null>((best, trial) => (best === null || distance(trial) < distance(best) ? trial : best), null)
  const isLegal = (trial: Trial) => trial.totalLkfs >= aim.lowestLkfs && trial.totalLkfs <= aim.highestLkfs
  const landOn = (lkfs: number) =>
    landOnTarget(model.totalAt, lkfs, lkfs - sourceLkfs, model.corridor.freeGainDb, model.homeRangeDb)

  const { landed, jumps, trials } = landOn(targetLkfs)
  const sides: (Trial & { readonly jump: Jump | null })[] = jumps.flatMap((jump) => [
    { ...jump.lower, jump },
    { ...jump.higher, jump },
  ])
  const landings = sides.filter((side) => distance(side) <= LANDED_WITHIN_LU)
  const best = leastGain(landed === null ? landings : [...landings, { ...landed, jump: null }])
  if (best !== null) return settle('landed', best)
  const legalSide = nearest(sides.filter(isLegal))
  if (legalSide !== null) return settle('leap', legalSide)

  const margin = Math.min(TOLERANCE_MARGIN_LU, (targetLkfs - aim.lowestLkfs) / 2)
  const safeLkfs = aim.lowestLkfs + margin
  const tried = [...trials, ...landOn(safeLkfs).trials].filter((trial) => trial.totalLkfs <= aim.highestLkfs)
  const safe = tried.filter((trial) => trial.totalLkfs >= safeLkfs - LANDED_WITHIN_LU)
  const legal = leastGain(safe) ?? nearest(tried.filter(isLegal))
  if (legal !== null) return settle('tolerance', { ...legal, jump: null })
  const missed = nearest([...sides, ...trials.map((trial) => ({ ...trial, jump: null }))])
  assert(missed !== null, 'a search tries at least one gain')
  return settle('missed', missed)
}

function settle(outcome: Home['outcome'], trial: Trial & { readonly jump: Jump | null }): Home {
  return { outcome, homeDb: trial.gainDb, totalLkfs: trial.totalLkfs, jump: trial.jump }
}
