import {
  type BandLevelLimit,
  type BandLinePlan,
  type BandStandings,
  bandField,
  dbToGain,
  dbToPower,
  type Finding,
  type FitSettings,
  floorToGainStep,
  GAIN_STEP_DB,
  gainToDb,
  HOPS_PER_SECOND,
  type Measured,
  powerToDb,
  printFigure,
  printTime,
  SHORT_TERM_SECONDS,
  standingOver,
} from '../../domain/index.ts'
import { type BandsHeard, type HopRange, limitDbfs } from './band-excess.ts'
import { lockFloor } from './corridor.ts'
import type { FitCorrection } from './decision.ts'
import { limitsOf } from './fit-model.ts'
import { leastRide } from './least-ride.ts'
import { moveCosts } from './move-costs.ts'
import { holdThroughLines, limitSlew, lowestWithin } from './reach.ts'
import { slidingMaximum } from './sliding-maximum.ts'
import type { MoveCosts } from './weighted-ride.ts'

/** Kept free below a line: what rounding to steps and words may add. */
export const BAND_GUARD_DB = 0.01
/** The most that is taken from a band: more is a matter for the mix. */
const MOST_REDUCTION_DB = 24
/** As fast as the low end may come and go; a ride that may be faster makes this faster too. */
const SLEW_DB_PER_SECOND = 20
const WINDOW_HOPS = SHORT_TERM_SECONDS * HOPS_PER_SECOND

/** What a line is solved for: how its band stands, what is done to it so far, and what the gains make of it. */
export type BandTask = {
  readonly standings: BandStandings
  /** Index of the line, and which pass over its band is solved. */
  readonly line: number
  readonly pass: number
  readonly plan: BandLinePlan | null
  readonly heard: BandsHeard
  /** Added to the gains: what they are expected to rise by where less of the band is left. */
  readonly leadDb: number
  /** Added to the guard below the line: by how much a render went over. */
  readonly shiftDb: number
}

/** A reduction, and the place where it cannot be deep enough. */
export type BandSolution = {
  readonly plan: BandLinePlan
  readonly missed: { readonly at: HopRange; readonly missedDb: number; readonly isLocked: boolean } | null
}

/** What holds for the reductions of all lines of a programme: prices and slews of moves, locks, and the lines of dialogue. */
export type BandRules = {
  readonly costs: MoveCosts
  readonly reachHops: number
  readonly speech100ms: Uint8Array | null
  /** How low each hop may go because of locks; null: there are none. */
  readonly floorDb: Float64Array | null
}

export function bandRules(measured: Measured, settings: FitSettings, correction: FitCorrection): BandRules {
  const hopCount = measured.linkedPeak100ms.length
  const speech100ms = correction.speech100ms ?? null
  const costs = moveCosts(measured.programme10ms, speech100ms, hopCount, settings)
  const leastSlewDb = floorToGainStep(SLEW_DB_PER_SECOND / HOPS_PER_SECOND)
  const slewDb = costs.slewDb.map((slew) => Math.max(slew, leastSlewDb))
  const limits = limitsOf(correction)
  return {
    costs: { ...costs, slewDb },
    reachHops: Math.round(settings.rideReachSeconds * HOPS_PER_SECOND),
    speech100ms,
    floorDb: limits.length === 0 ? null : lockFloor(limits, hopCount, slewDb).map((floor) => Math.min(0, floor)),
  }
}

/**
 * The reduction of a band that meets its line: for a line in 3 s the curve of least weighted movement under which no
 * window of any signal stands above it, for a line on the whole one gain for all of it, which moves least of all. The
 * slope of the filters is taken into account: what is solved is the band of what the treatment leaves.
 *
 * A hop that stands below the line by itself is left alone: windows are brought down by the hops that stand above it,
 * none of which goes further down than to the line.
 */
export function solveBandLine(task: BandTask, rules: BandRules): BandSolution {
  const { fromHz, toHz, id, over } = task.standings.lines[task.line] as BandLevelLimit
  const signals = signalsOf(task)
  const solved = over === 'programme' ? overTheWhole(signals, task, rules) : inWindows(signals, task, rules)
  const isIn = insideParts(task.heard.parts)
  const gainDb = solved.gainDb.map((db, hop) => (isIn(hop) ? db : 0))
  return { plan: { line: id, pass: task.pass, fromHz, toHz, gainDb }, missed: solved.missed }
}

/** Products of a band under the gains, and the power that its line allows. */
type Signal = {
  readonly once: Float64Array
  readonly cross: Float64Array
  readonly twice: Float64Array
  readonly target: number
  /** The same without a guard. */
  readonly limit: number
}

function signalsOf({ standings, line, plan, heard, leadDb, shiftDb }: BandTask): readonly Signal[] {
  const asked = standings.lines[line] as BandLevelLimit
  return heard.gains.flatMap((gains, signal) => {
    const limit = limitDbfs(asked, heard, signal)
    if (limit === null) return []
    const [power, once, cross, twice] = [0, 1, 2, 3].map((value) => standingOver(standings, line, signal, value)) as [
      Float64Array,
      Float64Array,
      Float64Array,
      Float64Array,
    ]
    const lead = dbToPower(leadDb)
    // What other treatments and moving gains make of the band, seen behind all of them.
    const weights = power.map((left, hop) => {
      const taken = 1 - dbToGain(plan?.gainDb[hop] ?? 0)
      const expected = leftOf(once[hop] as number, cross[hop] as number, twice[hop] as number, taken)
      const ratio = expected > 0 ? left / expected : 1
      return Math.min(Math.max(ratio, LEAST_RATIO), 1 / LEAST_RATIO) * (gains[hop] as number) * lead
    })
    const weighted = (values: Float64Array) => values.map((value, hop) => value * (weights[hop] as number))
    const powers = { once: weighted(once), cross: weighted(cross), twice: weighted(twice) }
    return [{ ...powers, target: dbToPower(limit - BAND_GUARD_DB - shiftDb), limit: dbToPower(limit) }]
  })
}

const LEAST_RATIO = 1 / 16

/** Power that is left of a band of which a share was taken. */
function leftOf(once: number, cross: number, twice: number, taken: number): number {
  return once - 2 * taken * cross + taken * taken * twice
}

const DEEPEST = 1 - dbToGain(-MOST_REDUCTION_DB)

/** The gain, in dB, under which so much is left; the deepest there is where that is not enough. */
function gainThatLeaves(once: number, cross: number, twice: number, target: number): number {
  if (once <= target) return 0
  const root = cross * cross - twice * (once - target)
  const taken = twice > 0 && root >= 0 ? (cross - Math.sqrt(root)) / twice : DEEPEST
  return floorToGainStep(gainToDb(1 - Math.min(Math.max(taken, 0), DEEPEST)))
}

type Solved = { readonly gainDb: Float64Array; readonly missed: BandSolution['missed'] }

function inWindows(signals: readonly Signal[], { heard }: BandTask, rules: BandRules): Solved {
  const { parts } = heard
  // Soft hops between loud ones come down with them, which leaves room: the bounds are raised until a window needs them.
  let gainDb = insideBounds(signals, parts, rules, 0)
  let [low, high] = [0, MOST_ROOM_DB]
  for (let turn = 0; turn < ROOM_TURNS; turn++) {
    const room = (low + high) / 2
    const tried = insideBounds(signals, parts, rules, room)
    if (worstWindow(signals, parts, tried, ({ target }) => target).ratio > 1) high = room
    else {
      low = room
      gainDb = tried
    }
  }
  const { ratio, at } = worstWindow(signals, parts, gainDb, ({ limit }) => limit)
  // A hair over is a matter of rounding, which a render shows.
  return { gainDb, missed: ratio > NOTICED ? missedAt(at, ratio, rules) : null }
}

const MOST_ROOM_DB = 3
const ROOM_TURNS = 8
const NOTICED = dbToPower(0.005)

/** The least movement under bounds that are computed for lines so many decibels higher. */
function insideBounds(
  signals: readonly Signal[],
  parts: readonly HopRange[],
  { costs, reachHops, speech100ms, floorDb }: BandRules,
  roomDb: number,
): Float64Array {
  const upperDb = new Float64Array(costs.slewDb.length + 1)
  for (const signal of signals) {
    for (const part of parts) boundWindows(signal, signal.target * dbToPower(roomDb), part, upperDb)
  }
  // Between two points a gain is a straight line, so the points on both sides bound that of a hop.
  const bounded = lowestWithin(upperDb, 1)
  limitSlew(bounded, costs.slewDb)
  const lower = lowestWithin(bounded, reachHops)
  if (speech100ms !== null) holdThroughLines(lower, speech100ms)
  const held = (walls: Float64Array) =>
    floorDb === null ? walls : walls.map((db, hop) => Math.max(db, floorDb[hop] as number))
  return leastRide(held(lower), held(bounded), costs)
}

function missedAt(at: HopRange, ratio: number, { floorDb }: BandRules): BandSolution['missed'] {
  const isLocked = floorDb?.subarray(at.first, at.end).some((floor) => floor > -MOST_REDUCTION_DB) ?? false
  return { at, missedDb: powerToDb(ratio), isLocked }
}

/** Lowers the bounds of the loud hops of a part to what its windows ask for. */
function boundWindows(signal: Signal, target: number, part: HopRange, upperDb: Float64Array): void {
  const length = part.end - part.first
  const hops = Math.min(WINDOW_HOPS, length)
  if (hops === 0) return
  const powers = signal.once.subarray(part.first, part.end)
  const loud = (values: Float64Array) =>
    runningSums(values.subarray(part.first, part.end).map((value, k) => ((powers[k] as number) > target ? value : 0)))
  const [all, once, cross, twice] = [
    runningSums(powers),
    loud(signal.once),
    loud(signal.cross),
    loud(signal.twice),
  ] as const
  const needed = Float64Array.from({ length: length - hops + 1 }, (_, k) => {
    const over = (sums: Float64Array) => (sums[k + hops] as number) - (sums[k] as number)
    const soft = over(all) - over(once)
    return -gainThatLeaves(over(once), over(cross), over(twice), target * hops - soft)
  })
  const most = slidingMaximum(
    needed,
    length,
    (k) => k - hops + 1,
    (k) => k + 1,
  )
  for (let k = 0; k < length; k++) {
    const hop = part.first + k
    if ((powers[k] as number) > target) upperDb[hop] = Math.min(upperDb[hop] as number, -(most[k] as number))
  }
}

/** One gain for the whole, but where a lock says otherwise: the highest that keeps the line. */
function overTheWhole(signals: readonly Signal[], { heard }: BandTask, rules: BandRules): Solved {
  const { floorDb } = rules
  const hopCount = (heard.gains[0] as Float64Array).length
  const curveOf = (steps: number) =>
    new Float64Array(hopCount).fill(-steps * GAIN_STEP_DB).map((db, hop) => Math.max(db, floorDb?.[hop] ?? db))
  const keeps = (gainDb: Float64Array) =>
    signals.every((signal) => leftOver(signal, heard.parts, gainDb) <= signal.target)
  let [low, high] = [0, MOST_REDUCTION_DB / GAIN_STEP_DB]
  while (low < high) {
    const middle = Math.floor((low + high) / 2)
    if (keeps(curveOf(middle))) high = middle
    else low = middle + 1
  }
  const gainDb = curveOf(high)
  const whole = { first: heard.parts[0]?.first ?? 0, end: heard.parts.at(-1)?.end ?? hopCount }
  const ratio = Math.max(0, ...signals.map((signal) => leftOver(signal, heard.parts, gainDb) / signal.limit))
  return { gainDb, missed: ratio > NOTICED ? missedAt(whole, ratio, rules) : null }
}

/** Mean power that is left in all parts together. */
function leftOver({ once, cross, twice }: Signal, parts: readonly HopRange[], gainDb: Float64Array): number {
  let [sum, hops, lastDb, taken] = [0, 0, 0, 0]
  for (const { first, end } of parts) {
    for (let k = first; k < end; k++) {
      const db = gainDb[k] as number
      if (db !== lastDb) taken = 1 - dbToGain(db)
      lastDb = db
      sum += leftOf(once[k] as number, cross[k] as number, twice[k] as number, taken)
    }
    hops += end - first
  }
  return hops === 0 ? 0 : sum / hops
}

/** The window that stands furthest above, or least below, a level under these gains, and by what ratio. */
function worstWindow(
  signals: readonly Signal[],
  parts: readonly HopRange[],
  gainDb: Float64Array,
  levelOf: (signal: Signal) => number,
): { readonly ratio: number; readonly at: HopRange } {
  let worst = { ratio: 0, at: { first: 0, end: 0 } }
  const taken = gainDb.map((db) => (db === 0 ? 0 : 1 - dbToGain(db)))
  for (const signal of signals) {
    const { once, cross, twice } = signal
    const left = once.map((power, k) => leftOf(power, cross[k] as number, twice[k] as number, taken[k] as number))
    for (const { first, end } of parts) {
      const hops = Math.min(WINDOW_HOPS, end - first)
      const sums = runningSums(left.subarray(first, end))
      for (let k = 0; hops > 0 && k + hops <= end - first; k++) {
        const ratio = ((sums[k + hops] as number) - (sums[k] as number)) / hops / levelOf(signal)
        if (ratio > worst.ratio) worst = { ratio, at: { first: first + k, end: first + k + hops } }
      }
    }
  }
  return worst
}

function runningSums(values: Float64Array): Float64Array {
  const sums = new Float64Array(values.length + 1)
  for (const [k, value] of values.entries()) sums[k + 1] = (sums[k] as number) + value
  return sums
}

/** Whether a hop, or one beside it, lies in a part: there the gain is held, and outside of the programme nothing acts. */
function insideParts(parts: readonly HopRange[]): (hop: number) => boolean {
  return (hop) => parts.some(({ first, end }) => hop >= first - 1 && hop <= end)
}

/** A line that no treatment meets: where, and by how much. */
export function bandOutOfReach(
  line: BandLevelLimit,
  { at, missedDb, isLocked }: NonNullable<BandSolution['missed']>,
): Finding {
  const startSeconds = at.first / HOPS_PER_SECOND
  const place = line.over === 'programme' ? 'Over the whole' : `At ${printTime(startSeconds)}`
  const name = `the ${line.id.replaceAll('-', ' ')} band`
  return {
    id: 'band-out-of-reach',
    severity: 'fail',
    line: bandField(line),
    measured: line.value + missedDb,
    allowed: line.value,
    unit: line.beside === 'full-scale' ? 'dBFS' : 'dB',
    at: { startSeconds, endSeconds: at.end / HOPS_PER_SECOND, timecode: null },
    source: `${line.source.document} (${line.source.edition}): ${line.source.clause}`,
    message: isLocked
      ? `${place} the line asks for ${printFigure(missedDb)} dB less of ${name} than the lock there allows. Give the lock more tolerance, or turn the band down in the mix.`
      : `${place} ${name} stays ${printFigure(missedDb)} dB above its line where it is turned down as far as it goes: most of what is left lies beside its ends, where filters as gentle as its own reach less. Turn it down in the mix, or agree on another line.`,
  }
}
