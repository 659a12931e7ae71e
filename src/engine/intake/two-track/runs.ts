import type { LookFigure } from './evidence.ts'
import { LOOKS_PER_SECOND } from './grid.ts'
import { matrixSigns } from './matrix.ts'
import { type JoinedEvidence, type LookRange, lagCellOf, sumOver } from './programme.ts'
import { borderOf, isLagClear, rewardsOf, type State, statesOf } from './rewards.ts'

/** A state and the looks that it holds, with how much better it explains them than the next best, per look. */
export type Run = LookRange & { readonly state: State; readonly leadPerLook: number }

/**
 * Cuts a programme into runs of one state: the cut with the highest sum of rewards less the cost of its borders.
 * @source Viterbi, IEEE Trans. Inf. Theory 13 (1967)
 */
export function cutIntoRuns(joined: JoinedEvidence): Run[] {
  const states = statesOf(joined)
  const rewards = rewardsOf(joined, states)
  const path = bestPath(joined.lookCount, states, rewards)
  const cut = runsOfPath(path)
  const withoutDoubt = validated(joined, states, cut)
  return mergeShort(states, withoutDoubt).map(({ index, from, to }) => ({
    from,
    to,
    state: states[index]!,
    leadPerLook: leadOf(rewards, index, { from, to }),
  }))
}

type IndexRun = LookRange & { readonly index: number }

function bestPath(length: number, states: readonly State[], rewards: readonly Float64Array[]): Uint8Array {
  const borders = states.map(borderOf)
  const from = states.map(() => new Uint8Array(length))
  let scores = rewards.map((reward) => reward[0] ?? 0)
  for (let look = 1; look < length; look++) {
    // Whoever changes comes from the state that is best to leave.
    let leave = 0
    for (let s = 1; s < states.length; s++) if (scores[s]! - borders[s]! > scores[leave]! - borders[leave]!) leave = s
    scores = scores.map((score, s) => {
      const changed = scores[leave]! - borders[leave]! - borders[s]!
      from[s]![look] = changed > score ? leave : s
      return Math.max(score, changed) + rewards[s]![look]!
    })
  }
  const path = new Uint8Array(length)
  let state = scores.reduce((best, score, s) => (score > scores[best]! ? s : best), 0)
  for (let look = length - 1; look >= 0; look--) {
    path[look] = state
    state = from[state]![look]!
  }
  return path
}

function runsOfPath(path: Uint8Array): IndexRun[] {
  const runs: IndexRun[] = []
  for (let look = 0, from = 0; look < path.length; look++) {
    if (look + 1 < path.length && path[look + 1] === path[look]) continue
    runs.push({ index: path[look]!, from, to: look + 1 })
    from = look + 1
  }
  return runs
}

/**
 * An inverted stereo track shows next to nothing in phase, or leans clearly the wrong way in everything that is off
 * the middle. What does not is a loud surround signal, and stays with its neighbours.
 */
function validated(joined: JoinedEvidence, states: readonly State[], runs: readonly IndexRun[]): IndexRun[] {
  return runs.map((run, at) => {
    const state = states[run.index]!
    const isDoubtful =
      state.name === 'offset'
        ? isBesideOther(states, runs, at) || hasOtherLags(joined, run, state.lagMicroseconds)
        : state.name === 'stereo' && state.isInverted && !isReallyInverted(joined, run)
    return isDoubtful ? { ...run, index: 0 } : run
  })
}

/** Machines that run together drift by little; lags that jump are voices at different places before the microphones. */
const DRIFT_MICROSECONDS = 62

function isBesideOther(states: readonly State[], runs: readonly IndexRun[], at: number): boolean {
  const lagOf = (run: IndexRun | undefined) => {
    const state = run && states[run.index]!
    return state?.name === 'offset' ? state.lagMicroseconds : null
  }
  const lag = lagOf(runs[at])!
  return [lagOf(runs[at - 1]), lagOf(runs[at + 1])].some(
    (other) => other !== null && Math.abs(other - lag) > DRIFT_MICROSECONDS,
  )
}

/** Share of the cells with a clear lag that may have another one than the run's. */
const MOST_OTHER = 0.15

function hasOtherLags(joined: JoinedEvidence, run: LookRange, lag: number): boolean {
  let clear = 0
  let other = 0
  for (let cell = lagCellOf(run.from); cell <= lagCellOf(run.to - 1); cell++) {
    if (!isLagClear(joined, cell)) continue
    clear += 1
    if (Math.abs(joined.lags.lagMicroseconds[cell]! - lag) > DRIFT_MICROSECONDS) other += 1
  }
  return other > MOST_OTHER * clear
}

const LONG_LOOKS = 20 * LOOKS_PER_SECOND

/** Of a mix that is upside down, the middle stands at equal level in antiphase; wide reverberation has no middle. */
const LEAST_EVENNESS = 0.15

function isReallyInverted(joined: JoinedEvidence, run: LookRange): boolean {
  const { pos, neg, posU, negU, evenness } = matrixSigns(joined, run)
  const sum = (figure: LookFigure) => sumOver(joined, figure, run)
  const rho = sum('crossPower') / Math.sqrt(sum('leftPower') * sum('rightPower') + 1e-30)
  if (rho > -0.2 || evenness < LEAST_EVENNESS) return false
  if (pos + posU < 0.1 * (neg + negU) && negU > posU) return true
  return run.to - run.from >= LONG_LOOKS && neg > 2 * pos && negU > 1.5 * posU && negU > 0.3 * neg
}

/** Runs shorter than this do not stand between two of the same kind. */
function leastLooks(state: State): number {
  if (state.name === 'mono' && !state.isInverted) return 6 * LOOKS_PER_SECOND
  if (state.name === 'silent') return 5 * LOOKS_PER_SECOND
  return 3 * LOOKS_PER_SECOND
}

/** Less of one track than this is a fade or a gap, not a lost track. */
const LEAST_ONE_SIDED_LOOKS = 5 * LOOKS_PER_SECOND
const SHORTEST_LOOKS = 2 * LOOKS_PER_SECOND

/** Takes short runs into their neighbours, the shortest first, until none is left. */
function mergeShort(states: readonly State[], runs: readonly IndexRun[]): IndexRun[] {
  let left = joinEqual(runs)
  for (;;) {
    const short = left
      .map((run, at) => ({ at, length: run.to - run.from }))
      .filter(({ at, length }) => left.length > 1 && length < shortestAllowed(states, left, at))
      .toSorted((a, b) => a.length - b.length)[0]
    if (short === undefined) return left
    const neighbours = [left[short.at - 1], left[short.at + 1]].filter((run) => run !== undefined)
    const heir = neighbours.reduce((a, b) => (b.to - b.from > a.to - a.from ? b : a))
    left = joinEqual(left.with(short.at, { ...left[short.at]!, index: heir.index }))
  }
}

function shortestAllowed(states: readonly State[], runs: readonly IndexRun[], at: number): number {
  const state = states[runs[at]!.index]!
  if (state.name === 'one-sided') return LEAST_ONE_SIDED_LOOKS
  const before = runs[at - 1]
  const after = runs[at + 1]
  const isBetweenEqual = before !== undefined && after !== undefined && before.index === after.index
  return isBetweenEqual ? leastLooks(state) : SHORTEST_LOOKS
}

function joinEqual(runs: readonly IndexRun[]): IndexRun[] {
  const joined: IndexRun[] = []
  for (const run of runs) {
    const last = joined.at(-1)
    if (last !== undefined && last.index === run.index) joined[joined.length - 1] = { ...last, to: run.to }
    else joined.push(run)
  }
  return joined
}

function leadOf(rewards: readonly Float64Array[], index: number, run: LookRange): number {
  const sums = rewards.map((reward) => {
    let sum = 0
    for (let look = run.from; look < run.to; look++) sum += reward[look]!
    return sum
  })
  const best = sums.reduce((most, sum, s) => (s !== index && sum > most ? sum : most), Number.NEGATIVE_INFINITY)
  return (sums[index]! - best) / (run.to - run.from)
}
