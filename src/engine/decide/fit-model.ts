import {
  type DeliverySpec,
  framesPerHop,
  gatedLoudness,
  loudestMomentary,
  loudestShortTerm,
  toHops,
  widestLoudnessRange,
} from '../../domain/index.ts'
import {
  buildCorridor,
  type Corridor,
  lockedHome,
  MAX_STATIC_GAIN_DB,
  type RideLimit,
  shaped,
  wallsAt,
} from './corridor.ts'
import type { Expected, ExpectedFigures, FitCorrection } from './decision.ts'
import { anchorOf, type FitSource, isWhole, loudnessOfMarked } from './fit-source.ts'
import { highestOf } from './highest.ts'
import { type HomeShape, noWishes, shapeOf } from './home-shape.ts'
import { windowLines } from './judged-lines.ts'
import { leastRide } from './least-ride.ts'
import { evenCosts, moveCosts } from './move-costs.ts'
import { energiesAfterLoss, hopPowers, riddenEnergies, riddenHops } from './ridden-energies.ts'
import { ownStereoGain, type SettledFit } from './stereo-gain.ts'

/**
 * A render was seen 0.005 LU above the bound computed from energies; twice that is kept free under a ride. Under a
 * constant gain the last bit is all that can happen to a window.
 * @source docs/decisions/0012
 */
const RIDE_GUARD_LU = 0.01
const FREE_GUARD_LU = 0.0005
/** Stands for "nothing passes the gate" while gains are tried. */
const NOTHING_LKFS = -200
const LOWEST_GAIN_DB = -120

/** What the programme reads under any gain, computed from its energies alone. */
export type FitModel = {
  readonly hopCount: number
  readonly corridor: Corridor
  /** Home gains that may be asked for. */
  readonly homeRangeDb: readonly [number, number]
  /** The hop and the gain where a lock ends that range; null where none does. */
  readonly lockedAt: { readonly homeDb: number; readonly hop: number } | null
  /** No home gain above it: the ceiling would have to make the level. `MAX_STATIC_GAIN_DB` where it is not asked. */
  readonly ceilingBoundDb: number
  /** Constant of the stereo on top of the common gain. */
  readonly stereoGainDb: number
  /** The gain of each hop under this home gain: the least ride inside the corridor, home everywhere if none is needed. */
  gainsAt(homeDb: number): Float64Array
  /** What is held against the target under these gains; null where nothing passes the gate. */
  anchoredTotal(gainsDb: Float64Array): number | null
  /** The same with a number for "nothing", for the search. */
  totalAt(homeDb: number): number
  /** Energies of the programme in whole hops under these gains, the ceiling's forecast included. */
  programmeHops(gainsDb: Float64Array): Float64Array
  /** The widest loudness range that a meter may read of any signal that is judged; null where nothing is heard. */
  rangeUnder(gainsDb: Float64Array): number | null
  /** The same with one gain for each hop: off by what moves within hops, so to search by. */
  rangeNear(gainsDb: Float64Array): number | null
  expected(gainsDb: Float64Array): Expected
  /** The same programme where single passages are asked to come down or up. */
  withShape(shape: HomeShape): FitModel
}

export function createFitModel(
  source: FitSource,
  spec: DeliverySpec,
  settings: SettledFit,
  correction: FitCorrection,
): FitModel {
  const { measured } = source
  const hopCount = Math.ceil(measured.frameCount / framesPerHop(measured.sampleRateHz))
  const stereoGainDb = settings.stereoGain === 'own' ? ownStereoGain(source) : 0
  const lines = windowLines(measured, spec, stereoGainDb)
  const limits = limitsOf(correction)
  const speech100ms = correction.speech100ms ?? null
  const mayRide = lines.length > 0 || limits.length > 0 || levelsScenes(spec, settings)
  const corridor = buildCorridor(lines, hopCount, {
    reachSeconds: settings.rideReachSeconds,
    costs: mayRide ? moveCosts(measured.programme10ms, speech100ms, hopCount, settings) : evenCosts(hopCount, settings),
    speech100ms,
    guardLu: RIDE_GUARD_LU + (correction.guardShiftLu ?? 0),
    freeGuardLu: FREE_GUARD_LU + (correction.guardShiftLu ?? 0),
    limits,
  })
  const asked = limits.some(({ lowestDb, highestDb }) => lowestDb > 0 || highestDb < 0)
    ? shaped(corridor, limitsAlone(corridor, hopCount, settings.rideReachSeconds, speech100ms))
    : corridor
  return modelOf(new Heard(source, settings, correction, stereoGainDb), hopCount, asked, correction)
}

/** Whether passages may have to be levelled: a line on the range, or a floor for soft ones. */
export function levelsScenes(spec: DeliverySpec, settings: SettledFit): boolean {
  return spec.maxLoudnessRangeLu?.severity === 'fail' || settings.quietLiftMostDb > 0
}

/** Locks and limits alike as how low and how high the ride may go. */
export function limitsOf({ locks = [], limits = [] }: FitCorrection): readonly RideLimit[] {
  const fromLocks = locks.map(({ startSeconds, endSeconds, toleranceDb }) => ({
    startSeconds,
    endSeconds,
    lowestDb: -toleranceDb,
    highestDb: toleranceDb,
  }))
  return [...fromLocks, ...limits]
}

function limitsAlone(
  corridor: Corridor,
  hopCount: number,
  reachSeconds: number,
  speech100ms: Uint8Array | null,
): HomeShape {
  return shapeOf(noWishes(hopCount), corridor, reachSeconds, speech100ms)
}

function modelOf(heard: Heard, hopCount: number, corridor: Corridor, correction: FitCorrection): FitModel {
  const lockedAt = lockedHome(corridor)
  const highestUseful = Math.min(highestOf(corridor.upperDb), lockedAt?.homeDb ?? MAX_STATIC_GAIN_DB)
  const ceilingBoundDb = correction.ceilingBoundDb ?? MAX_STATIC_GAIN_DB
  const gainsAt = (homeDb: number) => {
    if (homeDb <= corridor.freeGainDb) return new Float64Array(hopCount).fill(homeDb)
    const { lower, upper } = wallsAt(corridor, homeDb)
    return leastRide(lower, upper, corridor.costs)
  }
  return {
    hopCount,
    corridor,
    homeRangeDb: [LOWEST_GAIN_DB, Math.min(Math.max(corridor.freeGainDb, highestUseful), ceilingBoundDb)],
    lockedAt,
    ceilingBoundDb,
    stereoGainDb: heard.stereoGainDb,
    gainsAt,
    anchoredTotal: (gainsDb) => heard.anchoredTotal(gainsDb),
    totalAt: (homeDb) => heard.anchoredTotal(gainsAt(homeDb)) ?? NOTHING_LKFS,
    programmeHops: (gainsDb) => heard.programmeHops(gainsDb),
    rangeUnder: (gainsDb) => heard.rangeUnder(gainsDb),
    rangeNear: (gainsDb) => heard.rangeNear(gainsDb),
    expected: (gainsDb) => heard.expected(gainsDb),
    withShape: (shape) => modelOf(heard, hopCount, shaped(corridor, shape), correction),
  }
}

/** The programme and its fold-down, the ceiling's forecast included, under any gains. */
class Heard {
  readonly stereoGainDb: number
  readonly #source: FitSource
  readonly #settings: SettledFit
  readonly #programme: Float64Array
  readonly #programmeHops: Float64Array
  readonly #foldDown: Float64Array | null
  readonly #foldDownHops: Float64Array | null
  readonly #isAllProgramme: boolean

  constructor(source: FitSource, settings: SettledFit, { ceilingLossDb }: FitCorrection, stereoGainDb: number) {
    const { programme10ms, foldDown10ms } = source.measured
    const afterCeiling = (energies: Float64Array) =>
      ceilingLossDb === undefined ? energies : energiesAfterLoss(energies, ceilingLossDb)
    this.#source = source
    this.#settings = settings
    this.stereoGainDb = stereoGainDb
    this.#programme = afterCeiling(programme10ms)
    this.#programmeHops = toHops(this.#programme)
    this.#foldDown = foldDown10ms === null ? null : afterCeiling(foldDown10ms)
    this.#foldDownHops = this.#foldDown === null ? null : toHops(this.#foldDown)
    this.#isAllProgramme = isWhole(source.parts, this.#programme.length)
  }

  anchoredTotal(gainsDb: Float64Array): number | null {
    const foldDownTotal =
      splitsOffset(this.#settings) && this.#foldDown !== null && this.#foldDownHops !== null
        ? this.#totalUnder(this.#foldDown, this.#foldDownHops, gainsDb)
        : null
    return anchored(this.#totalUnder(this.#programme, this.#programmeHops, gainsDb), foldDownTotal, this.#settings)
  }

  programmeHops(gainsDb: Float64Array): Float64Array {
    return riddenHops(this.#programme, this.#programmeHops, gainsDb)
  }

  rangeUnder(gainsDb: Float64Array): number | null {
    const programme = this.#rangeOf(this.#programme, this.#programmeHops, gainsDb)
    if (this.#foldDown === null || this.#foldDownHops === null) return programme
    return widerOf(programme, this.#rangeOf(this.#foldDown, this.#foldDownHops, gainsDb))
  }

  rangeNear(gainsDb: Float64Array): number | null {
    if (!this.#isAllProgramme) return this.rangeUnder(gainsDb)
    const powers = hopPowers(gainsDb)
    const rangeOf = (hops: Float64Array) =>
      widestLoudnessRange([hops.map((energy, hop) => energy * (powers[hop] as number))])
    const programme = rangeOf(this.#programmeHops)
    return this.#foldDownHops === null ? programme : widerOf(programme, rangeOf(this.#foldDownHops))
  }

  expected(gainsDb: Float64Array): Expected {
    const figures = (energies: Float64Array, ownGainDb: number) =>
      figuresOf(riddenEnergies(energies, gainsDb), this.#source, ownGainDb)
    return {
      ...figures(this.#programme, 0),
      foldDown: this.#foldDown === null ? null : figures(this.#foldDown, this.stereoGainDb),
    }
  }

  // The blocks of a part are counted from its own beginning, which lies on the grid of hops only by chance.
  #totalUnder(energies: Float64Array, hops: Float64Array, gainsDb: Float64Array): number | null {
    const { dialogue100ms } = this.#source
    if (dialogue100ms !== null) return loudnessOfMarked(riddenHops(energies, hops, gainsDb), dialogue100ms)
    if (this.#isAllProgramme) return gatedLoudness(riddenHops(energies, hops, gainsDb))
    return anchorOf(riddenEnergies(energies, gainsDb), this.#source)
  }

  #rangeOf(energies: Float64Array, hops: Float64Array, gainsDb: Float64Array): number | null {
    const parts = () => {
      const ridden = riddenEnergies(energies, gainsDb)
      return this.#source.parts.map(({ first, end }) => toHops(ridden.subarray(first, end)))
    }
    return widestLoudnessRange(this.#isAllProgramme ? [riddenHops(energies, hops, gainsDb)] : parts())
  }
}

function widerOf(one: number | null, other: number | null): number | null {
  return one === null || other === null ? null : Math.max(one, other)
}

/** What is held against the target: the mix, or the middle between it and its fold-down. */
export function anchored(total: number | null, foldDownTotal: number | null, settings: SettledFit): number | null {
  return splitsOffset(settings) && total !== null && foldDownTotal !== null ? (total + foldDownTotal) / 2 : total
}

function splitsOffset(settings: SettledFit): boolean {
  return settings.anchor === 'balanced' && settings.stereoGain === 'linked'
}

function figuresOf(energies: Float64Array, source: FitSource, gainDb: number): ExpectedFigures {
  const raised = (loudness: number | null) => (loudness === null ? null : loudness + gainDb)
  return {
    anchorLkfs: raised(anchorOf(energies, source)),
    maxShortTermLkfs: raised(loudestShortTerm(energies)?.loudnessLkfs ?? null),
    maxMomentaryLkfs: raised(loudestMomentary(energies)?.loudnessLkfs ?? null),
  }
}
