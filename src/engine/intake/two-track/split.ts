import { dbToPower } from '../../../domain/index.ts'
import { GLANCES_PER_LOOK, LOOKS_PER_SECOND } from './grid.ts'
import { firstGlanceOf, type JoinedEvidence, type LookRange, noiseShareOf, residualOf } from './programme.ts'

/** Two tracks that share music and effects: with dialogue on one of them, or another language on each. */
export type SplitKind = 'split-left' | 'split-right' | 'two-languages'

const WINDOW_LOOKS = 20 * LOOKS_PER_SECOND
const STEP_LOOKS = 4 * LOOKS_PER_SECOND
/** Between lines the tracks are the same; in lines they are not. */
const SAME_BELOW = dbToPower(-24)
const APART_ABOVE = dbToPower(-14)

export type SplitFigures = {
  /** Shares of the sounding looks in which the tracks are the same, and in which they are not. */
  readonly sameShare: number
  readonly apartShare: number
  /** How often one follows the other. */
  readonly changes: number
  /** Right over left where they are the same. */
  readonly balance: number
  /** Typical distance from that balance, in dB, where they are the same. */
  readonly balanceSpreadDb: number
  /** How far a track is contained in the other where they are apart: 1 = wholly. */
  readonly rightContained: number
  readonly leftContained: number
  /** Standard deviation over mean of what one track alone has, by 40 ms: speech lies above 1. */
  readonly leftModulation: number
  readonly rightModulation: number
  /** Correlation of the two over time. */
  readonly togetherness: number
  readonly antiphaseShare: number
}

/** Where the looks of a window behave like a split track; one kind per look, null elsewhere. */
export function findSplits(joined: JoinedEvidence): (SplitKind | null)[] {
  const windows: LookRange[] = []
  const last = Math.max(0, joined.lookCount - WINDOW_LOOKS)
  for (let from = 0; ; from = Math.min(last, from + STEP_LOOKS)) {
    windows.push({ from, to: Math.min(joined.lookCount, from + WINDOW_LOOKS) })
    if (from >= last) break
  }
  const figures = windows.map((window) => splitFigures(joined, window))
  const found = figures.map((each) => (each === null ? null : splitKindOf(each, ALONE)))
  // Beside a window that is sure, fewer pauses will do.
  const spread = (at: number, neighbour: SplitKind | null | undefined) => {
    const each = figures[at]
    if (found[at] === null && neighbour && each && splitKindOf(each, BESIDE) === neighbour) found[at] = neighbour
  }
  for (let at = 1; at < found.length; at++) spread(at, found[at - 1])
  for (let at = found.length - 2; at >= 0; at--) spread(at, found[at + 1])

  const kinds = new Array<SplitKind | null>(joined.lookCount).fill(null)
  for (const [at, kind] of found.entries()) if (kind !== null) kinds.fill(kind, windows[at]!.from, windows[at]!.to)
  return kinds
}

export function splitFigures(joined: JoinedEvidence, window: LookRange): SplitFigures | null {
  const { looks } = joined
  const same: number[] = []
  const apart: number[] = []
  let changes = 0
  let wasSame: boolean | null = null
  let sounding = 0
  for (let look = window.from; look < window.to; look++) {
    if (joined.isPause[look] === 1) continue
    sounding += 1
    const residual = residualOf(joined, look)
    const isSame = residual < SAME_BELOW || residual < noiseShareOf(joined, look)
    if (!isSame && residual < APART_ABOVE) continue
    if (wasSame !== null && isSame !== wasSame) changes += 1
    wasSame = isSame
    ;(isSame ? same : apart).push(look)
  }
  if (same.length === 0 || apart.length === 0) return null
  const sum = (values: Float64Array, over: readonly number[]) => over.reduce((total, look) => total + values[look]!, 0)
  const balance = Math.sqrt(sum(looks.rightPower, same) / (sum(looks.leftPower, same) + 1e-30))
  const cross = sum(looks.crossPower, apart)
  const all = [...same, ...apart]
  return {
    sameShare: same.length / sounding,
    apartShare: apart.length / sounding,
    changes,
    balance,
    balanceSpreadDb: spreadDb(joined, same, balance),
    rightContained: (cross * balance) / (sum(looks.rightPower, apart) + 1e-30),
    leftContained: cross / balance / (sum(looks.leftPower, apart) + 1e-30),
    ...envelopes(joined, apart),
    antiphaseShare: (sum(looks.antiphase, all) + sum(looks.antiphaseAside, all)) / (sum(looks.weight, all) + 1e-30),
  }
}

/** Median distance of the looks' own balance from the common one. */
function spreadDb({ looks }: JoinedEvidence, same: readonly number[], balance: number): number {
  const distances = same.map((look) => {
    const own = Math.sqrt(looks.rightPower[look]! / (looks.leftPower[look]! + 1e-30))
    // 20 log10 of a ratio near 1
    return 8.686 * Math.abs((own - balance) / balance)
  })
  return distances.toSorted((a, b) => a - b)[distances.length >> 1]!
}

function envelopes({ glances }: JoinedEvidence, apart: readonly number[]) {
  let [left, right, leftSquare, rightSquare, product, count] = [0, 0, 0, 0, 0, 0]
  for (const look of apart) {
    const first = firstGlanceOf(look)
    for (let glance = first; glance < first + GLANCES_PER_LOOK; glance++) {
      const l = glances.leftOnly[glance]!
      const r = glances.rightOnly[glance]!
      left += l
      right += r
      leftSquare += l * l
      rightSquare += r * r
      product += l * r
      count += 1
    }
  }
  const deviation = (sum: number, square: number) =>
    Math.sqrt(Math.max(0, square / count - (sum / count) * (sum / count)))
  const [leftDeviation, rightDeviation] = [deviation(left, leftSquare), deviation(right, rightSquare)]
  return {
    leftModulation: leftDeviation / (left / count + 1e-30),
    rightModulation: rightDeviation / (right / count + 1e-30),
    togetherness: (product / count - (left * right) / count / count) / (leftDeviation * rightDeviation + 1e-30),
  }
}

/** Where the same music lies on both tracks its balance does not move, whatever the other stems do. */
const STEADY_BALANCE_DB = 0.15

/** How much of a window must be the same, and how often it must change, to speak for itself and beside another. */
const ALONE = { sameShare: 0.05, changes: 4 } as const
const BESIDE = { sameShare: 0.015, changes: 2 } as const

function splitKindOf(f: SplitFigures, least: typeof ALONE | typeof BESIDE): SplitKind | null {
  if (f.sameShare < least.sameShare || f.apartShare < 0.1 || f.changes < least.changes) return null
  if (f.balanceSpreadDb > STEADY_BALANCE_DB || f.antiphaseShare > 0.03) return null
  const isContained = (share: number) => share > 0.9 && share < 1.1
  if (isContained(f.rightContained) && f.leftContained < 0.75 && f.leftModulation > 0.8) return 'split-left'
  if (isContained(f.leftContained) && f.rightContained < 0.75 && f.rightModulation > 0.8) return 'split-right'
  const isSpeech = f.leftModulation > 0.9 && f.rightModulation > 0.9
  const isApart = f.rightContained < 0.8 && f.leftContained < 0.8
  return isApart && isSpeech && f.togetherness < 0.5 ? 'two-languages' : null
}
