import {
  dbToGain,
  dbToPower,
  type FitSettings,
  type FrameRange,
  floorToGainStep,
  GAIN_STEP_DB,
  gainToDb,
  HOPS_PER_SECOND,
  type LowEndPlan,
  powerToDb,
} from '../../domain/index.ts'
import { attackAndRelease, isInside } from './planned-reduction.ts'
import { slidingMaximum } from './sliding-maximum.ts'
import { tautString } from './taut-string.ts'

/** The low end of a programme: four mean products of each 100 ms, as `bandProducts` gives them. */
export type LowEndLevels = {
  readonly products: Float64Array
  readonly sampleRateHz: number
  /** The stretches that are treated; absent: everything. */
  readonly programme?: readonly FrameRange[] | undefined
}

/** Excess is what lies this far above the level that the low end keeps for 95 % of the time. @source fit.md 5 */
const LINE_PERCENTILE = 0.95
const LINE_ABOVE_DB = 3
/** Quieter than this nothing is played. */
const SILENT_DBFS = -70
/** The least that is left of the low end: more is a matter for the edit. */
const MOST_REDUCTION_DB = 24
const SLEW_DB_PER_SECOND = 20
const REACH_SECONDS = 0.5

/**
 * Finds where the low end is in excess and by how much it must be turned down to come to its line: the least movement
 * that does it. Null where there is no excess. The crossover's slope is taken into account: what is solved is the level
 * of the low band of the treated signal, not of the band that is turned down.
 */
export function planLowEnd(levels: LowEndLevels, settings: FitSettings): LowEndPlan | null {
  const mode = lowEndMode(settings)
  if (mode === 'off' || settings.stages === 'trims') return null
  const bands = bandsOf(levels)
  const gainDb = mode === 'auto' ? leastMovement(bands, linesOf(bands)) : compressed(bands, settings)
  return gainDb.every((db) => db === 0) ? null : { crossoverHz: settings.lowEndCrossoverHz, gainDb }
}

/** How the low end is treated: bands that are solved are the low end alone, since nothing else makes the rest pay. */
export function lowEndMode({ lowEnd, bands }: FitSettings): FitSettings['lowEnd'] {
  return lowEnd === 'off' && bands === 'auto' ? 'auto' : lowEnd
}

/** Means over 300 ms around each hop: several periods of the lowest tone. */
type Bands = ReturnType<typeof bandsOf>

function bandsOf({ products, sampleRateHz, programme }: LowEndLevels) {
  const count = products.length / 4
  const isIn = isInside(programme, sampleRateHz)
  const mean = (hop: number, product: number) => {
    let sum = 0
    for (let k = Math.max(0, hop - 1); k <= Math.min(count - 1, hop + 1); k++) {
      if (isIn(k)) sum += products[4 * k + product] as number
    }
    return sum / 3
  }
  const of = (product: number) => Float64Array.from({ length: count }, (_, hop) => mean(hop, product))
  return { count, rest: of(0), low: of(1), cross: of(2), twice: of(3), isIn }
}

/** Power of the line of the low end, and that of the same line of the rest. */
function linesOf({ low, rest }: Bands): { readonly low: number; readonly rest: number } {
  const silent = dbToPower(SILENT_DBFS)
  const percentile = (powers: Float64Array) => {
    const heard = powers.filter((_, hop) => (low[hop] as number) + (rest[hop] as number) > silent).sort()
    return heard[Math.floor(LINE_PERCENTILE * (heard.length - 1))] ?? Number.POSITIVE_INFINITY
  }
  const above = dbToPower(LINE_ABOVE_DB)
  return { low: percentile(low) * above, rest: percentile(rest) * above }
}

/** Where the whole is loud the low end may be, too: it may stand as far above its line as the rest does above its own. */
function leastMovement(bands: Bands, lines: { readonly low: number; readonly rest: number }): Float64Array {
  const { count, low, rest } = bands
  const needed = low.map((power, hop) => {
    const target = lines.low * Math.max(1, lines.rest > 0 ? (rest[hop] as number) / lines.rest : 1)
    return power > target ? gainThatLeaves(bands, hop, target) : 0
  })
  const step = floorToGainStep(SLEW_DB_PER_SECOND / HOPS_PER_SECOND)
  // A mean reaches over its neighbours, so they are held as low.
  const upper = lowestWithin(needed, 1)
  limitSlew(upper, step)
  const lower = lowestWithin(upper, Math.round(REACH_SECONDS * HOPS_PER_SECOND))
  return inside(bands, count === 0 ? upper : tautString(lower, upper).map(floorToGainStep))
}

/** Threshold and ratio on the level of the low band, attack before and release after what is loud. */
function compressed(bands: Bands, settings: FitSettings): Float64Array {
  const { lowEndThresholdDbfs, lowEndRatio, lowEndAttackSeconds, lowEndReleaseSeconds } = settings
  const gainDb = bands.low.map((power, hop) => {
    const overDb = power > 0 ? powerToDb(power) - lowEndThresholdDbfs : 0
    if (overDb <= 0) return 0
    return gainThatLeaves(bands, hop, dbToPower(lowEndThresholdDbfs + overDb / lowEndRatio))
  })
  attackAndRelease(gainDb, lowEndAttackSeconds, lowEndReleaseSeconds)
  return inside(bands, gainDb.map(floorToGainStep))
}

/**
 * Gain of the band, in dB, after which the low band of the treated signal has the power `target`: with d = 1 - gain it
 * has low - 2 d cross + d² twice.
 */
function gainThatLeaves({ low, cross, twice }: Bands, hop: number, target: number): number {
  const [a, b, c] = [twice[hop] as number, cross[hop] as number, (low[hop] as number) - target]
  const deepest = 1 - dbToGain(-MOST_REDUCTION_DB)
  const root = b * b - a * c
  const d = a > 0 ? (b - (root > 0 ? Math.sqrt(root) : 0)) / a : 0
  const gainDb = gainToDb(1 - Math.min(Math.max(d, 0), deepest))
  return Math.min(0, floorToGainStep(gainDb))
}

function inside({ isIn }: Bands, gainDb: Float64Array): Float64Array {
  return gainDb.map((db, hop) => (isIn(hop) ? db : 0))
}

function limitSlew(gainDb: Float64Array, step: number): void {
  for (let k = 1; k < gainDb.length; k++) {
    gainDb[k] = Math.min(gainDb[k] as number, (gainDb[k - 1] as number) + Math.max(step, GAIN_STEP_DB))
  }
  for (let k = gainDb.length - 2; k >= 0; k--) {
    gainDb[k] = Math.min(gainDb[k] as number, (gainDb[k + 1] as number) + Math.max(step, GAIN_STEP_DB))
  }
}

function lowestWithin(values: Float64Array, reach: number): Float64Array {
  const highest = slidingMaximum(
    values.map((value) => -value),
    values.length,
    (k) => k - reach,
    (k) => k + reach + 1,
  )
  return highest.map((value) => -value)
}
