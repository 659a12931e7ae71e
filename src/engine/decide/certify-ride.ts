import { type FitSettings, HOPS_PER_SECOND, printFigure } from '../../domain/index.ts'
import { type Corridor, wallsAt } from './corridor.ts'
import type { Certificate, Touch } from './decision.ts'
import type { WindowLine } from './judged-lines.ts'
import type { LevelledHome } from './level-scenes.ts'
import { MOVE_WEIGHTS } from './move-costs.ts'
import { movesBeforeHits, movesInLines } from './moves-heard.ts'
import { weightedMovement } from './weighted-ride.ts'

/**
 * Writes down what a ride does and why it cannot do less.
 * @param gainsDb the gain of each hop; @param staticGainDb the gain that they count from
 * @source see `leastWeightedRide`
 */
export function certifyRide(
  { model, home, settings, range }: LevelledHome,
  gainsDb: Float64Array,
  staticGainDb: number,
  speech100ms: Uint8Array | null,
): Certificate {
  const { corridor } = model
  const walls = wallsAt(corridor, corridor.shape === null ? staticGainDb : home.homeDb)
  const relative = (values: Float64Array) => values.map((value) => value - staticGainDb)
  return {
    statement: statementOf(corridor, settings, range),
    corridor: { lowerDb: relative(walls.lower), upperDb: relative(walls.upper) },
    rideDb: relative(gainsDb),
    touching: [
      ...findTouches(corridor, gainsDb, staticGainDb),
      ...(range === null ? [] : touchesOfLevels(corridor, gainsDb, home.homeDb, staticGainDb)),
    ].sort((a, b) => a.startSeconds - b.startSeconds),
    ...movementOf(relative(gainsDb)),
    weightedMovementDb: weightedMovement(gainsDb, corridor.costs),
    movementInDialogueDb: speech100ms === null ? null : movementInside(gainsDb, speech100ms),
    lines: speech100ms === null ? null : movesInLines(gainsDb, speech100ms),
    hits: movesBeforeHits(gainsDb, corridor.costs.hits10ms),
  }
}

function statementOf({ shape }: Corridor, settings: FitSettings, range: LevelledHome['range']): string {
  const levels = range?.levels ?? null
  return (
    'No ride inside this corridor moves less, a move counting ' +
    `${MOVE_WEIGHTS.inPause} in pauses and under attacks, ${MOVE_WEIGHTS.open} elsewhere, ${MOVE_WEIGHTS.steady} in steady sound, ` +
    `${MOVE_WEIGHTS.beforeHit} in the second before a hit and ${MOVE_WEIGHTS.inDialogue} inside a line of dialogue, hits in it included; ` +
    `for this static gain, a reach of ${settings.rideReachSeconds} s, slews of ${settings.rideSlewDbPerSecond} dB/s, ` +
    `${settings.ridePauseSlewDbPerSecond} dB/s in pauses and ${settings.rideAttackSlewDbPerSecond} dB/s under attacks, ` +
    (levels === null
      ? ''
      : `short-term levels from ${printFigure(levels.floorLkfs)} to ${printFigure(levels.ceilingLkfs)} LKFS but for what the range leaves out, `) +
    (shape === null
      ? 'and the rule that the ride never rises above the static gain.'
      : 'and the rule that the ride rises above the static gain only where a passage is lifted.')
  )
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

/** Maximal runs of hops where the ride lies at the level that the loudness range asks for. */
function touchesOfLevels({ shape }: Corridor, gainsDb: Float64Array, homeDb: number, staticGainDb: number): Touch[] {
  if (shape === null) return []
  const isAt = (k: number) => {
    const besideDb = (gainsDb[k] as number) - homeDb
    return (besideDb < 0 && besideDb === shape.roofDb[k]) || (besideDb > 0 && besideDb === shape.floorDb[k])
  }
  const besideHome = (k: number) => Math.abs((gainsDb[k] as number) - homeDb)
  const touches: Touch[] = []
  for (let k = 0; k < gainsDb.length; k++) {
    if (!isAt(k)) continue
    const first = k
    let deepest = k
    for (; k < gainsDb.length && isAt(k); k++) if (besideHome(k) > besideHome(deepest)) deepest = k
    touches.push({
      startSeconds: first / HOPS_PER_SECOND,
      endSeconds: k / HOPS_PER_SECOND,
      hop: deepest,
      rideDb: (gainsDb[deepest] as number) - staticGainDb,
      line: 'loudnessRangeLu',
      signal: 'programme',
    })
  }
  return touches
}
