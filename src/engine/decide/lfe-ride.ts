import {
  type DeliverySpec,
  dbToPower,
  type Finding,
  type FitSettings,
  type FrameRange,
  floorToGainStep,
  framesPerHop,
  HOPS_PER_SECOND,
  LFE_WINDOW_HOPS,
  type Limit,
  leastFronts,
  type Measured,
  powerToDb,
  printFigure,
  printTime,
  subOfHops,
  windowMeans,
} from '../../domain/index.ts'
import { gainsOfHops } from './ceiling-forecast.ts'
import { planSlowCeiling } from './ceiling-slow-part.ts'
import { movementOf } from './certify-ride.ts'
import { lockFloor } from './corridor.ts'
import type { Decision, FitCorrection, LfeCertificate } from './decision.ts'
import { limitsOf } from './fit-model.ts'
import { leastRide } from './least-ride.ts'
import { evenCosts } from './move-costs.ts'
import { limitSlew, lowestWithin } from './reach.ts'
import { slidingMaximum } from './sliding-maximum.ts'

/** Kept free below a line: what rounding to steps and words may add. */
const GUARD_DB = 0.01

const HELD_BY_LOCK = 'lfe-held-by-lock'

/** A line of the spec on the level of the LFE, and what of it a window is held below. */
type LfeLine = {
  readonly field: 'lfe.maxShortTermDbfs' | 'lfe.overFrontsDb'
  readonly limit: Limit
  readonly limitDb: number
}

/** Power of the LFE under the common gain at its highest, of the fronts' low end at its lowest; one value a hop. */
type Heard = { readonly lfe: Float64Array; readonly fronts: Float64Array; readonly parts: readonly HopRange[] }
type HopRange = { readonly first: number; readonly end: number }

type LfeCorridor = {
  readonly upperDb: Float64Array
  readonly lowerDb: Float64Array
  /** Index of the line that sets the upper bound; -1: none. */
  readonly bindingLine: Int8Array
}

/**
 * Gives the LFE a ride of its own on top of a decision, where a line of the spec asks for it: the least movement, inside
 * the reach and the slew of the ride, under which no 3 s of the LFE exceed any of its lines. No other channel is touched,
 * and the common gains stay as they are.
 * @source see `leastRide`; fit.md 5
 */
export function rideLfe(
  decision: Decision,
  measured: Measured,
  spec: DeliverySpec,
  settings: FitSettings,
  correction: FitCorrection = {},
): Decision {
  const lines = linesOf(spec, correction)
  const heard = lines.length === 0 || settings.stages === 'trims' ? null : heardUnder(decision, measured, correction)
  if (heard === null) return decision
  const hopCount = measured.linkedPeak100ms.length
  const costs = evenCosts(hopCount, settings)
  const bounds = boundsOf(lines, heard, hopCount)
  limitSlew(bounds.upperDb, costs.slewDb, (k, neighbour) => {
    bounds.bindingLine[k] = bounds.bindingLine[neighbour] as number
  })
  if (bounds.upperDb.every((db) => db === 0)) return decision
  const lowerDb = lowestWithin(bounds.upperDb, Math.round(settings.rideReachSeconds * HOPS_PER_SECOND))
  const { corridor, held } = aboveLocks({ ...bounds, lowerDb }, decision, correction, costs.slewDb)
  const lfeRideDb = leastRide(corridor.lowerDb, corridor.upperDb, costs)
  const plan = { ...decision.plan, lfeRideDb }
  const findings = held === null ? [] : [heldByLock(held, lines[held.line] as LfeLine)]
  return {
    ...decision,
    plan: correction.slowCeiling === undefined ? { ...plan, ...slowPartUnder(plan, measured) } : plan,
    lfe: certify(lfeRideDb, corridor, lines, settings),
    feasible: decision.feasible && held === null,
    isUnproved: decision.isUnproved && held === null,
    findings: [...decision.findings.filter(({ id }) => id !== HELD_BY_LOCK), ...findings],
  }
}

/** The lines that move the LFE: those whose miss fails the delivery. */
function linesOf(spec: DeliverySpec, { lfeShiftDb = {} }: FitCorrection): readonly LfeLine[] {
  const asked = [
    ['lfe.maxShortTermDbfs', spec.maxLfeShortTermDbfs],
    ['lfe.overFrontsDb', spec.maxLfeOverFrontsDb],
  ] as const
  return asked.flatMap(([field, limit]) =>
    limit?.severity === 'fail' ? [{ field, limit, limitDb: limit.value - GUARD_DB - (lfeShiftDb[field] ?? 0) }] : [],
  )
}

/** Between two points a gain is a straight line, so the points on both sides bound that of a hop. */
function heardUnder({ plan }: Decision, measured: Measured, correction: FitCorrection): Heard | null {
  if (correction.sub100ms === undefined) return null
  const { lfe100ms, fronts100ms } = subOfHops(correction.sub100ms)
  const gainsDb = gainsOfHops(plan, measured.linkedPeak100ms.length)
  const around = (k: number, pick: (...values: number[]) => number) => {
    const at = gainsDb[k] as number
    return pick(at, gainsDb[k - 1] ?? at, gainsDb[k + 1] ?? at)
  }
  const lossDb = correction.ceilingLossDb ?? plan.slowCeiling?.linkedDb ?? null
  return {
    lfe: lfe100ms.map((power, k) => power * dbToPower(around(k, Math.max))),
    fronts: fronts100ms.map((power, k) => power * dbToPower(around(k, Math.min) + (lossDb?.[k] ?? 0))),
    parts: partsOf(correction.programme, measured.sampleRateHz, lfe100ms.length),
  }
}

function partsOf(programme: readonly FrameRange[] | undefined, sampleRateHz: number, count: number): HopRange[] {
  if (programme === undefined) return [{ first: 0, end: count }]
  const hop = framesPerHop(sampleRateHz)
  return programme.map(({ startFrame, endFrame }) => {
    const first = Math.min(Math.floor(startFrame / hop), count)
    return { first, end: Math.max(first, Math.min(Math.ceil(endFrame / hop), count)) }
  })
}

/** What each line leaves of the gain at each hop: nothing above 0, where the LFE gets what the others get. */
function boundsOf(lines: readonly LfeLine[], heard: Heard, hopCount: number): Omit<LfeCorridor, 'lowerDb'> {
  const upperDb = new Float64Array(hopCount)
  const bindingLine = new Int8Array(hopCount).fill(-1)
  for (const [index, { field, limitDb }] of lines.entries()) {
    const excessDb = windowLevels(field, heard, hopCount).map((power) =>
      power > 0 ? powerToDb(power) - limitDb : Number.NEGATIVE_INFINITY,
    )
    // The point of hop k acts up to its neighbours', so every window that touches any of the three has a say.
    const most = slidingMaximum(
      excessDb,
      hopCount,
      (k) => k - LFE_WINDOW_HOPS,
      (k) => k + 2,
    )
    for (let k = 0; k < hopCount; k++) {
      const bound = floorToGainStep(-Math.max(0, most[k] as number))
      if (bound >= (upperDb[k] as number)) continue
      upperDb[k] = bound
      bindingLine[k] = index
    }
  }
  return { upperDb, bindingLine }
}

/** Level of the window that begins at each hop, as its line has it: of the LFE alone, or against the fronts. */
function windowLevels(field: LfeLine['field'], { lfe, fronts, parts }: Heard, hopCount: number): Float64Array {
  const levels = new Float64Array(hopCount)
  const isAgainst = field === 'lfe.overFrontsDb'
  const least = isAgainst ? leastFronts(parts.map(({ first, end }) => fronts.subarray(first, end))) : 1
  for (const { first, end } of parts) {
    const means = windowMeans(lfe.subarray(first, end), LFE_WINDOW_HOPS)
    const against = isAgainst ? windowMeans(fronts.subarray(first, end), LFE_WINDOW_HOPS) : null
    for (const [k, power] of means.entries()) {
      levels[first + k] = against === null ? power : power / Math.max(against[k] as number, least)
    }
  }
  return levels
}

/** Where a lock or a limit keeps the LFE above what a line asks for: the deepest such place. */
type Held = { readonly hop: number; readonly missedDb: number; readonly line: number }

/** Locks and limits hold for the LFE as well: with the common ride it goes no lower than they allow. */
function aboveLocks(
  corridor: LfeCorridor,
  { certificate }: Decision,
  correction: FitCorrection,
  slewDb: Float64Array,
): { readonly corridor: LfeCorridor; readonly held: Held | null } {
  const limits = limitsOf(correction)
  if (limits.length === 0) return { corridor, held: null }
  const { upperDb, lowerDb, bindingLine } = corridor
  let held: Held | null = null
  for (const [k, floor] of lockFloor(limits, upperDb.length, slewDb).entries()) {
    const lowest = Math.min(0, floor - (certificate?.rideDb[k] ?? 0))
    const missedDb = lowest - (upperDb[k] as number)
    if (missedDb > (held?.missedDb ?? 0)) held = { hop: k, missedDb, line: bindingLine[k] as number }
    upperDb[k] = Math.max(upperDb[k] as number, lowest)
    lowerDb[k] = Math.max(lowerDb[k] as number, lowest)
  }
  return { corridor, held }
}

function heldByLock({ hop, missedDb }: Held, { field, limit }: LfeLine): Finding {
  const startSeconds = hop / HOPS_PER_SECOND
  return {
    id: HELD_BY_LOCK,
    severity: 'fail',
    line: field,
    measured: limit.value + missedDb,
    allowed: limit.value,
    unit: field === 'lfe.overFrontsDb' ? 'dB' : 'dBFS',
    at: { startSeconds, endSeconds: startSeconds + 1 / HOPS_PER_SECOND, timecode: null },
    source: `${limit.source.document} (${limit.source.edition}): ${limit.source.clause}`,
    message:
      `At ${printTime(startSeconds)} the line of the LFE asks for ${printFigure(missedDb)} dB less than the lock there ` +
      'allows. Give the lock more tolerance, or turn the LFE down in the mix.',
  }
}

/** The LFE's ceiling works on what the ride leaves. */
function slowPartUnder(plan: Decision['plan'], measured: Measured): Pick<Decision['plan'], 'slowCeiling'> {
  const linkedDb = plan.slowCeiling?.linkedDb ?? null
  const lfeDb = planSlowCeiling(measured, plan)?.lfeDb ?? null
  return { slowCeiling: linkedDb === null && lfeDb === null ? null : { linkedDb, lfeDb } }
}

function certify(
  rideDb: Float64Array,
  { upperDb, lowerDb, bindingLine }: LfeCorridor,
  lines: readonly LfeLine[],
  { rideReachSeconds, rideSlewDbPerSecond }: FitSettings,
): LfeCertificate {
  return {
    statement:
      `No ride of the LFE inside its corridor moves less, for a reach of ${rideReachSeconds} s, a slew of ` +
      `${rideSlewDbPerSecond} dB/s and the rule that it never rises above the gain of the other channels.`,
    corridor: { lowerDb, upperDb },
    rideDb,
    ...movementOf(rideDb),
    touching: touchesOf(rideDb, upperDb, (hop) => (lines[bindingLine[hop] as number] as LfeLine).field),
  }
}

/** Maximal runs of hops where the ride lies at a bound that a line sets. */
function touchesOf(
  rideDb: Float64Array,
  upperDb: Float64Array,
  lineAt: (hop: number) => string,
): LfeCertificate['touching'] {
  const isAt = (k: number) => rideDb[k] === upperDb[k] && (rideDb[k] as number) < 0
  const touching = []
  for (let k = 0; k < rideDb.length; k++) {
    if (!isAt(k)) continue
    const first = k
    let deepest = k
    for (; k < rideDb.length && isAt(k); k++) {
      if ((rideDb[k] as number) < (rideDb[deepest] as number)) deepest = k
    }
    const seconds = { startSeconds: first / HOPS_PER_SECOND, endSeconds: k / HOPS_PER_SECOND }
    touching.push({ ...seconds, rideDb: rideDb[deepest] as number, line: lineAt(deepest) })
  }
  return touching
}
