import { type FitSettings, HOPS_PER_SECOND } from '../../domain/index.ts'
import { type Corridor, wallsAt } from './corridor.ts'
import type { Certificate, Touch } from './decision.ts'
import type { WindowLine } from './judged-lines.ts'
import { MOVE_WEIGHTS } from './move-costs.ts'
import { weightedMovement } from './weighted-ride.ts'

/**
 * Writes down what a ride does and why it cannot do less.
 * @param gainsDb the gain of each hop; @param staticGainDb the highest of them
 * @source see `leastWeightedRide`
 */
export function certifyRide(
  corridor: Corridor,
  gainsDb: Float64Array,
  staticGainDb: number,
  settings: FitSettings,
  speech100ms: Uint8Array | null,
): Certificate {
  const walls = wallsAt(corridor, staticGainDb)
  const relative = (values: Float64Array) => values.map((value) => value - staticGainDb)
  return {
    statement:
      'No ride inside this corridor moves less, a move counting ' +
      `${MOVE_WEIGHTS.inPause} in pauses and under attacks, ${MOVE_WEIGHTS.open} elsewhere, ${MOVE_WEIGHTS.steady} in steady sound, ` +
      `${MOVE_WEIGHTS.beforeHit} in the second before a hit and ${MOVE_WEIGHTS.inDialogue} inside a line of dialogue; ` +
      `for this static gain, a reach of ${settings.rideReachSeconds} s, slews of ${settings.rideSlewDbPerSecond} dB/s, ` +
      `${settings.ridePauseSlewDbPerSecond} dB/s in pauses and ${settings.rideAttackSlewDbPerSecond} dB/s under attacks, ` +
      'and the rule that the ride never rises above the static gain.',
    corridor: { lowerDb: relative(walls.lower), upperDb: relative(walls.upper) },
    rideDb: relative(gainsDb),
    touching: findTouches(corridor, gainsDb, staticGainDb),
    ...movementOf(relative(gainsDb)),
    weightedMovementDb: weightedMovement(gainsDb, corridor.costs),
    movementInDialogueDb: speech100ms === null ? null : movementInside(gainsDb, speech100ms),
  }
}

/** The figures of a ride, whatever made it. */
export function movementOf(
  rideDb: Float64Array,
): Pick<
  Certificate,
  'movementDb' | 'largestMoveDb' | 'largestSlewDbPerSecond' | 'movingShare' | 'areaUnderReductionDbSeconds'
> {
  let movementDb = 0
  let largestStepDb = 0
  let movingHops = 0
  let reductionDb = 0
  let lowestDb = 0
  for (const [k, gainDb] of rideDb.entries()) {
    const stepDb = k === 0 ? 0 : Math.abs(gainDb - (rideDb[k - 1] as number))
    movementDb += stepDb
    largestStepDb = Math.max(largestStepDb, stepDb)
    if (stepDb > 0) movingHops++
    reductionDb -= gainDb
    lowestDb = Math.min(lowestDb, gainDb)
  }
  return {
    movementDb,
    largestMoveDb: -lowestDb,
    largestSlewDbPerSecond: largestStepDb * HOPS_PER_SECOND,
    movingShare: rideDb.length === 0 ? 0 : movingHops / rideDb.length,
    areaUnderReductionDbSeconds: reductionDb / HOPS_PER_SECOND,
  }
}

/** Movement between two points that both belong to a line, so that none of it lies beside the line. */
function movementInside(gainsDb: Float64Array, speech100ms: Uint8Array): number {
  let sum = 0
  for (let k = 1; k < gainsDb.length; k++) {
    if (speech100ms[k - 1] !== 1 || speech100ms[k] !== 1) continue
    sum += Math.abs((gainsDb[k] as number) - (gainsDb[k - 1] as number))
  }
  return sum
}

/** Maximal runs of hops where the gain lies at a bound that a line sets. */
function findTouches(corridor: Corridor, gainsDb: Float64Array, staticGainDb: number): Touch[] {
  const { upperDb, bindingLine, lines } = corridor
  const isTouching = (k: number) => gainsDb[k] === upperDb[k] && (gainsDb[k] as number) < staticGainDb
  const touches: Touch[] = []
  for (let k = 0; k < gainsDb.length; k++) {
    if (!isTouching(k)) continue
    const first = k
    let deepest = k
    for (; k < gainsDb.length && isTouching(k); k++) {
      if ((gainsDb[k] as number) < (gainsDb[deepest] as number)) deepest = k
    }
    const { field, signal } = lines[bindingLine[deepest] as number] as WindowLine
    touches.push({
      startSeconds: first / HOPS_PER_SECOND,
      endSeconds: k / HOPS_PER_SECOND,
      hop: deepest,
      rideDb: (gainsDb[deepest] as number) - staticGainDb,
      line: field,
      signal,
    })
  }
  return touches
}
