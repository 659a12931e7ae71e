import { GAIN_STEP_DB, roundToGainStep } from '../../domain/index.ts'

/** The total that a home gain gives. */
export type Trial = { readonly gainDb: number; readonly totalLkfs: number }

/** Two neighbouring home gains between which the total leaps, because hops pass a gate. */
export type Jump = { readonly lower: Trial; readonly higher: Trial }

export type Landing = {
  /** On target; null where no home gain lands there. */
  readonly landed: Trial | null
  readonly jumps: readonly Jump[]
  /** Every gain that was tried. */
  readonly trials: readonly Trial[]
}

/** The loop ends this close to the target: far below the 0.1 LU that a meter shows. */
const ON_TARGET_LU = 0.001
/** A total that falls by more than this while the gain rises has let hops through a gate. */
const FALL_LU = 0.02
const SECANT_STEPS = 16

/**
 * Finds the home gain whose total lands on the target. Under a ride the total rises by at most 1 dB per dB, but it
 * leaps where hops pass a gate, so the search keeps a bracket and tells the leaps that it met.
 * @param totalAt the total under a home gain, a multiple of `GAIN_STEP_DB`
 * @param startDb where the search starts
 * @param freeDb the highest home gain that needs no ride: a leap between it and the start is looked for
 * @param range lowest and highest home gain, multiples of `GAIN_STEP_DB`
 * @source secant with a kept bracket (Illinois method): Dowell & Jarratt 1971, from memory
 */
export function landOnTarget(
  totalAt: (gainDb: number) => number,
  targetLkfs: number,
  startDb: number,
  freeDb: number,
  [lowestDb, highestDb]: readonly [number, number],
): Landing {
  const trials: Trial[] = []
  const tryGain = (wantedDb: number): Trial => {
    const gainDb = Math.min(Math.max(roundToGainStep(wantedDb), lowestDb), highestDb)
    const known = trials.find((trial) => trial.gainDb === gainDb)
    if (known !== undefined) return known
    const trial = { gainDb, totalLkfs: totalAt(gainDb) }
    trials.push(trial)
    return trial
  }
  const isOnTarget = (trial: Trial) => Math.abs(trial.totalLkfs - targetLkfs) <= ON_TARGET_LU
  const search: Search = { targetLkfs, tryGain, isOnTarget }
  const start = tryGain(startDb)
  if (!isOnTarget(start) && start.gainDb > freeDb && freeDb >= lowestDb) tryGain(freeDb)
  const bracket = march(search, start)
  const end = bracket === null ? null : closeIn(search, bracket)
  const jumps = findFalls(trials).map((fall) => narrowFall(search, fall))
  if (end !== null && !isOnTarget(end.lower) && !isOnTarget(end.higher)) jumps.push(end)
  return { landed: leastGain(trials.filter(isOnTarget)), jumps, trials }
}

type Search = {
  readonly targetLkfs: number
  readonly tryGain: (gainDb: number) => Trial
  readonly isOnTarget: (trial: Trial) => boolean
}

/** The trial with the least gain: the lower home is, the less the ride has to do. */
export function leastGain<T extends Trial>(trials: readonly T[]): T | null {
  return trials.reduce<T | null>((best, trial) => (best === null || trial.gainDb < best.gainDb ? trial : best), null)
}

/** Walks towards the target in growing steps until it is passed; null where it never is. */
function march({ targetLkfs, tryGain, isOnTarget }: Search, start: Trial): Jump | null {
  const direction = start.totalLkfs < targetLkfs ? 1 : -1
  let current = start
  let stepDb = 0
  while (!isOnTarget(current)) {
    stepDb = Math.max(Math.abs(current.totalLkfs - targetLkfs), 2 * stepDb, GAIN_STEP_DB)
    const next = tryGain(current.gainDb + direction * stepDb)
    if (next.gainDb === current.gainDb) return null
    if ((next.totalLkfs - targetLkfs) * direction >= 0) {
      return direction > 0 ? { lower: current, higher: next } : { lower: next, higher: current }
    }
    current = next
  }
  return null
}

/** Closes a bracket (too soft below, too loud above) until one side lands or the two are neighbours. */
function closeIn({ targetLkfs, tryGain, isOnTarget }: Search, bracket: Jump): Jump {
  let { lower, higher } = bracket
  let below = lower.totalLkfs - targetLkfs
  let above = higher.totalLkfs - targetLkfs
  let replaced: 'lower' | 'higher' | null = null
  for (let n = 0; higher.gainDb - lower.gainDb > GAIN_STEP_DB && !isOnTarget(lower) && !isOnTarget(higher); n++) {
    const width = higher.gainDb - lower.gainDb
    // A leap inside the bracket spoils the secant: halving ends it.
    const share = n < SECANT_STEPS ? below / (below - above) : 0.5
    const trial = tryGain(lower.gainDb + Math.min(Math.max(width * share, GAIN_STEP_DB), width - GAIN_STEP_DB))
    const residual = trial.totalLkfs - targetLkfs
    // The side that stays for a second time loses half its weight, or the secant would creep towards it.
    if (residual < 0) {
      if (replaced === 'lower') above /= 2
      lower = trial
      below = residual
      replaced = 'lower'
    } else {
      if (replaced === 'higher') below /= 2
      higher = trial
      above = residual
      replaced = 'higher'
    }
  }
  return { lower, higher }
}

/** Neighbouring trials where the total fell although the gain rose. */
function findFalls(trials: readonly Trial[]): Jump[] {
  const ordered = trials.toSorted((a, b) => a.gainDb - b.gainDb)
  return ordered.slice(1).flatMap((higher, index) => {
    const lower = ordered[index] as Trial
    return higher.totalLkfs < lower.totalLkfs - FALL_LU ? [{ lower, higher }] : []
  })
}

/**
 * Narrows a fall to the two neighbouring gains between which the total leaps down through the middle of it: away from
 * the gates the total never falls while the gain rises.
 */
function narrowFall({ tryGain }: Search, fall: Jump): Jump {
  const middleLkfs = (fall.lower.totalLkfs + fall.higher.totalLkfs) / 2
  let { lower, higher } = fall
  while (higher.gainDb - lower.gainDb > GAIN_STEP_DB) {
    const between = tryGain((lower.gainDb + higher.gainDb) / 2)
    if (between.totalLkfs >= middleLkfs) lower = between
    else higher = between
  }
  return { lower, higher }
}
