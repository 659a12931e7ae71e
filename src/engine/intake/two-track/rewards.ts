import { powerToDb } from '../../../domain/index.ts'
import { median } from './numbers.ts'
import { type JoinedEvidence, lagCellOf, noiseShareOf, residualOf } from './programme.ts'
import { findSplits, type SplitKind } from './split.ts'

/** What a look can be; an offset is one state per lag that was found. */
export type State =
  | { readonly name: 'stereo' | 'mono'; readonly isInverted: boolean }
  | { readonly name: 'one-sided' | 'tone' | 'timecode' | 'split'; readonly side: 'left' | 'right' }
  | { readonly name: 'two-languages' | 'silent' }
  | { readonly name: 'offset'; readonly lagMicroseconds: number; readonly isInverted: boolean }

/** What it costs to begin or end a state: the stronger a claim, the more looks must speak for it. */
export function borderOf(state: State): number {
  switch (state.name) {
    case 'stereo':
      return state.isInverted ? 9 : 3
    case 'split':
    case 'two-languages':
      return 5
    case 'offset':
      return 4
    default:
      return 3
  }
}

/** All states that the programme may be in: the fixed ones, and the lags that several cells agree on. */
export function statesOf(joined: JoinedEvidence): State[] {
  const sides = ['left', 'right'] as const
  const sided = (['one-sided', 'tone', 'timecode', 'split'] as const).flatMap((name) =>
    sides.map((side): State => ({ name, side })),
  )
  return [
    { name: 'stereo', isInverted: false },
    { name: 'stereo', isInverted: true },
    { name: 'mono', isInverted: false },
    { name: 'mono', isInverted: true },
    ...sided,
    { name: 'two-languages' },
    { name: 'silent' },
    ...commonLags(joined),
  ]
}

/** How well each state explains each look, over plain stereo; pauses say nothing. */
export function rewardsOf(joined: JoinedEvidence, states: readonly State[]): Float64Array[] {
  const splits = findSplits(joined)
  const timecode = timecodeLooks(joined)
  return states.map((state) =>
    Float64Array.from({ length: joined.lookCount }, (_, look) => {
      if (state.name === 'timecode') return timecode[state.side][look] === 1 ? 3 : -2
      if (state.name === 'silent') return joined.isSilent[look] === 1 ? 0.3 : -5
      if (joined.isPause[look] === 1) return 0
      return rewardOf(joined, state, look, splits[look]!)
    }),
  )
}

function rewardOf(joined: JoinedEvidence, state: State, look: number, split: SplitKind | null): number {
  switch (state.name) {
    case 'stereo':
      return stereoReward(joined, look) * (state.isInverted ? -1 : 1)
    case 'mono':
      return monoReward(joined, look, state.isInverted)
    case 'one-sided':
      return oneSidedReward(joined, look, state.side)
    case 'tone':
      return isLoneTone(joined, look, state.side) ? 2 : -2
    case 'split':
      return split === `split-${state.side}` ? 1.2 : -1
    case 'two-languages':
      return split === 'two-languages' ? 1.2 : -1
    case 'offset':
      return offsetReward(joined, lagCellOf(look), state.lagMicroseconds)
    default:
      return 0
  }
}

/** More sound in phase than in antiphase speaks for plain stereo, the other way round for an inverted track. */
function stereoReward({ looks }: JoinedEvidence, look: number): number {
  const inPhase = looks.inPhase[look]! + looks.inPhaseAside[look]!
  const antiphase = looks.antiphase[look]! + looks.antiphaseAside[look]!
  return (0.5 * (inPhase - antiphase)) / (looks.weight[look]! + 1e-30)
}

/** Even odds where the tracks differ by 27 dB less than they carry; certain at 35 dB. */
const EVEN_ODDS_DB = -27
const DB_PER_REWARD = 8

function monoReward(joined: JoinedEvidence, look: number, isInverted: boolean): number {
  const residual = residualOf(joined, look)
  const byResidual = Math.max(-1.5, Math.min(1, (EVEN_ODDS_DB - powerToDb(residual)) / DB_PER_REWARD))
  // A difference that the noise of the tracks explains says nothing against mono, and nothing for it.
  const isNoise = byResidual < 0 && residual < 3 * noiseShareOf(joined, look)
  const isOpposite = joined.looks.crossPower[look]! < 0 !== isInverted
  return (isNoise ? 0 : byResidual) + (isOpposite ? -1 : 0.5)
}

const EVEN_ODDS_LEVEL_DB = 30

/** A reverberation that dies away on one side is no lost track. */
const SOUNDING_POWER = 1e-6

function oneSidedReward({ looks }: JoinedEvidence, look: number, side: 'left' | 'right'): number {
  if (looks[`${side}Power`][look]! < SOUNDING_POWER) return 0
  const differenceDb = powerToDb((looks.leftPower[look]! + 1e-12) / (looks.rightPower[look]! + 1e-12))
  const ofSide = side === 'left' ? differenceDb : -differenceDb
  return Math.max(-2, Math.min(1.7, (ofSide - EVEN_ODDS_LEVEL_DB) / 8))
}

/** Of a track's power, what a line must hold to be a tone: all but -23 dB. */
const TONE_SHARE = 0.995

/** A steady tone on one track that the other track does not have. */
export function isLoneTone({ looks }: JoinedEvidence, look: number, side: 'left' | 'right'): boolean {
  const other = side === 'left' ? 'right' : 'left'
  const hz = looks[`${side}LineHz`][look]!
  if (looks[`${side}Power`][look]! < 1e-8 || looks[`${side}Line`][look]! < TONE_SHARE) return false
  const before = looks[`${side}LineHz`][look - 1] ?? hz
  const after = looks[`${side}LineHz`][look + 1] ?? hz
  const isSteady = Math.min(Math.abs(before - hz), Math.abs(after - hz)) < 0.003 * hz
  const isOnBoth =
    looks[`${other}Line`][look]! > 0.5 &&
    Math.abs(looks[`${other}LineHz`][look]! - hz) < 0.01 * hz &&
    looks[`${other}Power`][look]! > 1e-3 * looks[`${side}Power`][look]!
  return isSteady && !isOnBoth
}

function timecodeLooks(joined: JoinedEvidence): Readonly<Record<'left' | 'right', Uint8Array>> {
  const found = { left: new Uint8Array(joined.lookCount), right: new Uint8Array(joined.lookCount) }
  for (const run of joined.labels) {
    const from = Math.floor(run.firstLook)
    const to = Math.ceil(run.endLook)
    found[run.side].fill(1, from, to)
  }
  return found
}

/** A whitened peak well over that at lag 0: a high one, or one where the tracks have much in common, and more than at lag 0. */
/** Two and a half frames of 48 kHz: less is called azimuth. */
const LEAST_LAG_MICROSECONDS = 52
const LEAST_PEAK = 0.12
const HIGH_PEAK = 0.25
const MUCH_IN_COMMON = 0.4
const OVER_ZERO = 1.5
const RHO_GAIN = 0.02

export function isLagClear({ lags }: JoinedEvidence, cell: number): boolean {
  const peak = Math.abs(lags.peak[cell]!)
  const rho = Math.abs(lags.rho[cell]!)
  if (
    Math.abs(lags.lagMicroseconds[cell]!) < LEAST_LAG_MICROSECONDS ||
    peak < OVER_ZERO * Math.abs(lags.peakAtZero[cell]!)
  )
    return false
  if (peak > HIGH_PEAK) return true
  return peak > LEAST_PEAK && rho > MUCH_IN_COMMON && rho > Math.abs(lags.rhoAtZero[cell]!) + RHO_GAIN
}

/** Two lags within this are one. */
const SAME_LAG_MICROSECONDS = 25
const LEAST_CELLS = 4
const MOST_LAGS = 6

function commonLags(joined: JoinedEvidence): State[] {
  const { lags } = joined
  const groups: { lags: number[]; signs: number }[] = []
  for (let cell = 0; cell < lags.lagMicroseconds.length; cell++) {
    if (!isLagClear(joined, cell)) continue
    const lag = lags.lagMicroseconds[cell]!
    const sign = lags.peak[cell]! < 0 ? -1 : 1
    const known = groups.find((group) => Math.abs(median(group.lags) - lag) < SAME_LAG_MICROSECONDS)
    if (known === undefined) groups.push({ lags: [lag], signs: sign })
    else {
      known.lags.push(lag)
      known.signs += sign
    }
  }
  return groups
    .filter((group) => group.lags.length >= LEAST_CELLS)
    .toSorted((a, b) => b.lags.length - a.lags.length)
    .slice(0, MOST_LAGS)
    .map((group) => ({ name: 'offset', lagMicroseconds: median(group.lags), isInverted: group.signs < 0 }))
}

/** Which of the two peaks is higher decides; the cell that a change lies in is shared between both. */
function offsetReward({ lags }: JoinedEvidence, cell: number, lag: number): number {
  const peak = Math.abs(lags.peak[cell]!)
  const zero = Math.abs(lags.peakAtZero[cell]!)
  const lead = (peak - zero) / (peak + zero + 1e-9)
  if (peak > 0.8 * LEAST_PEAK && Math.abs(lags.lagMicroseconds[cell]! - lag) < SAME_LAG_MICROSECONDS) return 0.7 * lead
  return zero > peak ? -0.6 : -0.15
}
