import {
  type DeliverySpec,
  framesPerHop,
  gatedLoudness,
  loudestMomentary,
  loudestShortTerm,
  toHops,
} from '../../domain/index.ts'
import { buildCorridor, type Corridor, lockedHome, MAX_STATIC_GAIN_DB, wallsAt } from './corridor.ts'
import type { Expected, ExpectedFigures, FitCorrection } from './decision.ts'
import { anchorOf, type FitSource, isWhole, loudnessOfMarked } from './fit-source.ts'
import { highestOf } from './highest.ts'
import { windowLines } from './judged-lines.ts'
import { leastRide } from './least-ride.ts'
import { evenCosts, moveCosts } from './move-costs.ts'
import { energiesAfterLoss, riddenEnergies, riddenHops } from './ridden-energies.ts'
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
  expected(gainsDb: Float64Array): Expected
}

export function createFitModel(
  source: FitSource,
  spec: DeliverySpec,
  settings: SettledFit,
  correction: FitCorrection,
): FitModel {
  const { measured, parts, dialogue100ms } = source
  const hopCount = Math.ceil(measured.frameCount / framesPerHop(measured.sampleRateHz))
  const afterCeiling = (energies: Float64Array) =>
    correction.ceilingLossDb === undefined ? energies : energiesAfterLoss(energies, correction.ceilingLossDb)
  const programme = afterCeiling(measured.programme10ms)
  const foldDown = measured.foldDown10ms === null ? null : afterCeiling(measured.foldDown10ms)
  const stereoGainDb = settings.stereoGain === 'own' ? ownStereoGain(source) : 0
  const speech100ms = correction.speech100ms ?? null
  const lines = windowLines(measured, spec, stereoGainDb)
  const corridor = buildCorridor(lines, hopCount, {
    reachSeconds: settings.rideReachSeconds,
    costs:
      lines.length === 0
        ? evenCosts(hopCount, settings)
        : moveCosts(measured.programme10ms, speech100ms, hopCount, settings),
    speech100ms,
    guardLu: RIDE_GUARD_LU + (correction.guardShiftLu ?? 0),
    freeGuardLu: FREE_GUARD_LU + (correction.guardShiftLu ?? 0),
    locks: correction.locks ?? [],
  })
  const lockedAt = lockedHome(corridor)
  const highestUseful = Math.min(highestOf(corridor.upperDb), lockedAt?.homeDb ?? MAX_STATIC_GAIN_DB)

  const ceilingBoundDb = correction.ceilingBoundDb ?? MAX_STATIC_GAIN_DB

  const gainsAt = (homeDb: number) => {
    if (homeDb <= corridor.freeGainDb) return new Float64Array(hopCount).fill(homeDb)
    const { lower, upper } = wallsAt(corridor, homeDb)
    return leastRide(lower, upper, corridor.costs)
  }
  const programmeHops = toHops(programme)
  const foldDownHops = foldDown === null ? null : toHops(foldDown)
  const isSplit = splitsOffset(settings)
  const isAllProgramme = isWhole(parts, programme.length)
  // The blocks of a part are counted from its own beginning, which lies on the grid of hops only by chance.
  const totalUnder = (energies: Float64Array, hops: Float64Array, gainsDb: Float64Array) => {
    if (dialogue100ms !== null) return loudnessOfMarked(riddenHops(energies, hops, gainsDb), dialogue100ms)
    if (isAllProgramme) return gatedLoudness(riddenHops(energies, hops, gainsDb))
    return anchorOf(riddenEnergies(energies, gainsDb), source)
  }
  const anchoredTotal = (gainsDb: Float64Array) =>
    anchored(
      totalUnder(programme, programmeHops, gainsDb),
      isSplit && foldDown !== null && foldDownHops !== null ? totalUnder(foldDown, foldDownHops, gainsDb) : null,
      settings,
    )
  return {
    hopCount,
    corridor,
    homeRangeDb: [LOWEST_GAIN_DB, Math.min(Math.max(corridor.freeGainDb, highestUseful), ceilingBoundDb)],
    lockedAt,
    ceilingBoundDb,
    stereoGainDb,
    gainsAt,
    anchoredTotal,
    totalAt: (homeDb) => anchoredTotal(gainsAt(homeDb)) ?? NOTHING_LKFS,
    programmeHops: (gainsDb) => riddenHops(programme, programmeHops, gainsDb),
    expected: (gainsDb) => ({
      ...figuresOf(riddenEnergies(programme, gainsDb), source, 0),
      foldDown: foldDown === null ? null : figuresOf(riddenEnergies(foldDown, gainsDb), source, stereoGainDb),
    }),
  }
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
