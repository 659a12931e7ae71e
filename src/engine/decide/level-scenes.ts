import {
  type DeliverySpec,
  dbToPower,
  type FitSettings,
  HOPS_PER_SECOND,
  loudnessOf,
  loudnessRangeEdges,
  powerOf,
  SHORT_TERM_SECONDS,
  windowMeans,
} from '../../domain/index.ts'
import { type Aim, chooseHome } from './choose-home.ts'
import type { FitCorrection } from './decision.ts'
import type { FitModel } from './fit-model.ts'
import { type HomeShape, noWishes, shapeOf } from './home-shape.ts'
import type { SettledHome } from './settle-home.ts'
import { spareRuns } from './spare-runs.ts'
import { weightedMovement } from './weighted-ride.ts'

/** The short-term loudness, at home, down to which loud passages come and up to which soft ones are lifted. */
export type Levels = { readonly ceilingLkfs: number; readonly floorLkfs: number }

/** How a line on the loudness range was met, or how near to it a ride comes. */
export type RangeOutcome = {
  readonly beforeLu: number
  readonly afterLu: number
  readonly levels: Levels | null
  readonly isMet: boolean
}

export type LevelledHome = SettledHome & { readonly range: RangeOutcome | null }

/** Other meters begin their windows elsewhere: on a minute of programme they were seen to read 0.07 LU more. */
const RANGE_GUARD_LU = 0.1
/** A range this far below its line is no better than one at it. */
const RANGE_WITHIN_LU = 0.15
/** A total that is missed outweighs any range. */
const MISSED_TOTAL_LU = 100
/** The range looks at the 10th and the 95th percentile: so much of the windows may stay outside of the levels. */
const SPARED_SHARE = { loud: 0.045, soft: 0.09 } as const
/** How much of the work the loud passages do, the soft ones do the rest; and whether scenes are told apart at cuts. */
type Way = { readonly share: number; readonly atCuts: boolean }
const ALL_WAYS: readonly Way[] = [0.5, 1, 0, 0.75, 0.25].flatMap((share) => [
  { share, atCuts: true },
  { share, atCuts: false },
])
const MOST_TRIALS_A_SHARE = 4
const MOST_ROUNDS = 3
/** So many hops in all trials together, then no further way is tried: two hours are decided on in a second. */
const MOST_HOPS_TRIED = 3_000_000
const WINDOW_HOPS = SHORT_TERM_SECONDS * HOPS_PER_SECOND
/** What sounds at a hop; and how far the loudness before and after it must differ for a cut. */
const MOMENT_HOPS = 6
const CUT_LU = 4

/**
 * Brings the scenes closer together where the spec limits the loudness range, and lifts quiet passages where the mixer
 * wants it. The levels are solved: of all the ways to share the work between loud and soft passages that meet the line,
 * the one with the least weighted movement is taken.
 * @source EBU Tech 3342 (range); docs/decisions/0033
 */
export function levelScenes(
  settled: SettledHome,
  spec: DeliverySpec,
  correction: FitCorrection,
  aim: Aim,
  sourceLkfs: number,
): LevelledHome {
  const line = spec.maxLoudnessRangeLu
  const limitLu =
    line?.severity === 'fail' ? line.value - RANGE_GUARD_LU - (correction.rangeShiftLu ?? 0) : Number.POSITIVE_INFINITY
  const beforeLu = settled.model.rangeUnder(settled.model.gainsAt(settled.home.homeDb))
  const isTooWide = beforeLu !== null && beforeLu > limitLu
  if (beforeLu === null || (!isTooWide && settled.settings.quietLiftMostDb === 0)) return { ...settled, range: null }

  const search = { settled, correction, aim, sourceLkfs, beforeLu, limitLu, tried: { hops: 0 } }
  const first = roundOf(search, scenesUnder(search, settled.home.homeDb), limitLu, ALL_WAYS)
  const followed = searchLevels(search, first, true)
  if (!isTooWide || followed.range?.isMet === true || hasTriedEnough(search)) return followed
  const stayed = searchLevels(search, first, false)
  return missedBy(stayed, limitLu) < missedBy(followed, limitLu) ? stayed : followed
}

type LevelSearch = {
  readonly settled: SettledHome
  readonly correction: FitCorrection
  readonly aim: Aim
  readonly sourceLkfs: number
  readonly beforeLu: number
  readonly limitLu: number
  readonly tried: Tried
}

/** How many hops the trials of a search had together. */
type Tried = { hops: number }

function hasTriedEnough({ tried }: Pick<LevelSearch, 'tried'>): boolean {
  return tried.hops > MOST_HOPS_TRIED
}

/** The best levels for scenes told under one home, and the home that they lead to. */
type Round = {
  readonly scenes: Scenes
  readonly goalLu: number
  readonly way: Trial | null
  readonly found: LevelledHome
}

function scenesUnder({ settled, correction, aim }: LevelSearch, homeDb: number): Scenes {
  return new Scenes(settled.model, homeDb, settled.settings, correction.speech100ms ?? null, aim)
}

function roundOf(search: LevelSearch, scenes: Scenes, goalLu: number, ways: readonly Way[]): Round {
  const { settled, aim, sourceLkfs, beforeLu, limitLu, tried } = search
  const isTooWide = beforeLu > limitLu
  const way = isTooWide ? scenes.leastWithin(goalLu, ways, tried) : null
  const model = settled.model.withShape(scenes.shapeFor(way?.levels ?? null, way?.atCuts ?? true))
  const home = chooseHome(model, aim, sourceLkfs)
  const afterLu = model.rangeUnder(model.gainsAt(home.homeDb)) ?? 0
  const isMet = afterLu <= limitLu
  const levels = way !== null && (way.isMet || isMet) ? way.levels : null
  const range = isTooWide ? { beforeLu, afterLu, levels, isMet } : null
  return { scenes, goalLu, way, found: { ...settled, model, home, range } }
}

/**
 * Levels and home in turn, until both hold: what brings the scenes together moves the total, and home with it.
 * @param followsHome true: scenes are told anew under each home, where the lines press other passages; false: they are
 * those of the first, as where little of a programme sounds and home leaps with every decibel of the levels
 */
function searchLevels(search: LevelSearch, first: Round, followsHome: boolean): LevelledHome {
  const { limitLu } = search
  let best = first.found
  let last = first
  for (let round = 1; round <= MOST_ROUNDS; round++) {
    const { scenes, way, found } = last
    if (missedBy(found, limitLu) <= missedBy(best, limitLu)) best = found
    // Under another home the lines press other passages, and the quiet floor lies elsewhere.
    const hasSettled = Math.abs(found.home.homeDb - scenes.homeDb) < 0.1
    if (found.range === null ? hasSettled : found.range.isMet || (hasSettled && way?.isMet === false)) break
    if (round === MOST_ROUNDS) break
    const missedLu = found.range === null ? 0 : found.range.afterLu - limitLu
    const goalLu = missedLu > 0 ? last.goalLu - Math.min(missedLu + 0.01, 1) : last.goalLu
    const next = followsHome ? scenesUnder(search, found.home.homeDb) : scenes
    last = roundOf(search, next, goalLu, way === null ? ALL_WAYS : way.isMet ? [way] : startingWith(way))
  }
  return best
}

/** How far the range and the total stay outside together, in LU; 0 where both hold. */
function missedBy({ home, range }: LevelledHome, limitLu: number): number {
  const totalLu = home.outcome === 'missed' ? MISSED_TOTAL_LU : 0
  return totalLu + Math.max(0, (range?.afterLu ?? 0) - limitLu)
}

/** Short-term loudness of the scene of each hop, at home and under the ride that the other lines ask for. */
type SceneLevels = { readonly atHome: Float64Array; readonly ridden: Float64Array }

/** The short-term loudness around each hop, at one home gain and under the ride that the other lines ask for. */
class Scenes {
  readonly #model: FitModel
  readonly homeDb: number
  readonly #settings: FitSettings
  readonly #speech100ms: Uint8Array | null
  readonly #quietLkfs: number
  readonly #atCuts: SceneLevels
  readonly #around: SceneLevels
  readonly #edges: { readonly softLkfs: number; readonly loudLkfs: number }
  readonly #gateLkfs: number

  constructor(model: FitModel, homeDb: number, settings: FitSettings, speech100ms: Uint8Array | null, aim: Aim) {
    const riddenHops = model.programmeHops(model.gainsAt(homeDb))
    this.#model = model
    this.homeDb = homeDb
    this.#settings = settings
    this.#speech100ms = speech100ms
    this.#quietLkfs = aim.targetLkfs - settings.quietFloorLu
    const hopsAtHome = model.programmeHops(new Float64Array(model.hopCount).fill(homeDb))
    const atHome = loudnessOfWindows(hopsAtHome, WINDOW_HOPS)
    const ridden = loudnessOfWindows(riddenHops, WINDOW_HOPS)
    const levelsOf = (scenes: Int32Array) => ({ atHome: ofScenes(atHome, scenes), ridden: ofScenes(ridden, scenes) })
    const moments = loudnessOfWindows(hopsAtHome, MOMENT_HOPS)
    this.#atCuts = levelsOf(scenesOf(atHome, moments, model.hopCount, CUT_LU))
    this.#around = levelsOf(scenesOf(atHome, moments, model.hopCount, Number.POSITIVE_INFINITY))
    this.#edges = loudnessRangeEdges([riddenHops]) ?? { softLkfs: 0, loudLkfs: 0 }
    this.#gateLkfs = gateOf(this.#around.ridden)
  }

  /** The trial of least weighted movement under which the range is inside `goalLu`; else the one that comes nearest. */
  leastWithin(goalLu: number, ways: readonly Way[], tried: Tried): Trial {
    let best: Trial | null = null
    let startLu: number | null = null
    for (const way of ways) {
      if (best !== null && hasTriedEnough({ tried })) break
      for (const trial of this.#trialsOf(way, goalLu, startLu)) {
        tried.hops += this.#model.hopCount
        if (trial.isMet) startLu = trial.closerLu
        const isBest: boolean = best === null || isBetter(trial, best)
        if (isBest) best = trial
        // What moves more already and is not there yet will not move less.
        else if (!trial.isMet && best?.isMet && trial.movementDb >= best.movementDb) break
      }
    }
    return best as Trial
  }

  /** What brings every hop between the levels, but for those that may stay outside; null: only quiet passages are lifted. */
  shapeFor(levels: Levels | null, atCuts: boolean): HomeShape {
    const { ceilingLkfs, floorLkfs } = levels ?? {
      ceilingLkfs: Number.POSITIVE_INFINITY,
      floorLkfs: Number.NEGATIVE_INFINITY,
    }
    const { ridden, atHome } = atCuts ? this.#atCuts : this.#around
    let audible = 0
    for (const lkfs of ridden) if (lkfs >= this.#gateLkfs) audible++
    const over = new Float64Array(ridden.length)
    const under = new Float64Array(ridden.length)
    for (let k = 0; k < ridden.length; k++) {
      const lkfs = ridden[k] as number
      over[k] = lkfs - ceilingLkfs
      under[k] = lkfs >= this.#gateLkfs ? floorLkfs - lkfs : Number.NEGATIVE_INFINITY
    }
    const toPress = spareRuns(over, audible * SPARED_SHARE.loud)
    const toLift = spareRuns(under, audible * SPARED_SHARE.soft)
    const wishes = noWishes(ridden.length)
    const { pressDb, liftDb, roomDb } = wishes
    const highestLkfs = Math.min(ceilingLkfs, this.#edges.loudLkfs)
    for (let k = 0; k < ridden.length; k++) {
      const lkfs = atHome[k] as number
      const press = toPress[k] as number
      if (press > 0) pressDb[k] = Math.min(0, ceilingLkfs - lkfs + (over[k] as number) - press)
      roomDb[k] = Math.max(0, highestLkfs - lkfs)
      if ((ridden[k] as number) < this.#gateLkfs) continue
      const quiet = Math.min(this.#quietLkfs - lkfs, this.#settings.quietLiftMostDb)
      const lift = toLift[k] as number
      liftDb[k] = Math.max(0, quiet, lift > 0 ? floorLkfs - lkfs + lift - (under[k] as number) : 0)
    }
    return shapeOf(wishes, this.#model.corridor, this.#settings.rideReachSeconds, this.#speech100ms)
  }

  /** A secant over how far the levels are moved towards each other, from where another way got to. */
  *#trialsOf(way: Way, goalLu: number, startLu: number | null): Generator<Trial> {
    const { share } = way
    const { softLkfs, loudLkfs } = this.#edges
    const wholeLu = loudLkfs - softLkfs
    let tooLittleLu = 0
    let enoughLu = wholeLu
    let closerLu = startLu ?? Math.min(Math.max(wholeLu - goalLu, 0), wholeLu)
    for (let n = 0; n < MOST_TRIALS_A_SHARE; n++) {
      const levels = { ceilingLkfs: loudLkfs - share * closerLu, floorLkfs: softLkfs + (1 - share) * closerLu }
      const trial = { ...this.#tryOut(way, levels, goalLu), closerLu }
      yield trial
      const excessLu = trial.rangeLu - goalLu
      if ((excessLu <= 0 && excessLu > -RANGE_WITHIN_LU) || (excessLu > 0 && closerLu === wholeLu)) return
      if (excessLu > 0) tooLittleLu = closerLu
      else enoughLu = closerLu
      const wanted = closerLu + (excessLu > 0 ? 1.3 : 0.8) * excessLu
      closerLu =
        wanted >= enoughLu && enoughLu === wholeLu
          ? wholeLu
          : wanted >= enoughLu || wanted <= tooLittleLu
            ? (tooLittleLu + enoughLu) / 2
            : wanted
    }
  }

  #tryOut(way: Way, levels: Levels, goalLu: number): Omit<Trial, 'closerLu'> {
    const model = this.#model.withShape(this.shapeFor(levels, way.atCuts))
    const gainsDb = model.gainsAt(this.homeDb)
    const rangeLu = model.rangeNear(gainsDb) ?? 0
    return {
      ...way,
      levels,
      rangeLu,
      isMet: rangeLu <= goalLu,
      movementDb: weightedMovement(gainsDb, model.corridor.costs),
    }
  }
}

type Trial = Way & {
  readonly levels: Levels
  /** How far these are nearer to each other than the ends of the range. */
  readonly closerLu: number
  readonly rangeLu: number
  readonly isMet: boolean
  readonly movementDb: number
}

/** Whether the range is met with less movement, or while neither meets it comes nearer. */
function isBetter(trial: Trial, than: Trial): boolean {
  if (trial.isMet !== than.isMet) return trial.isMet
  return trial.isMet ? trial.movementDb < than.movementDb : trial.rangeLu < than.rangeLu
}

function startingWith(way: Way): readonly Way[] {
  return [way, ...ALL_WAYS.filter(({ share, atCuts }) => share !== way.share || atCuts !== way.atCuts)]
}

/** Loudness of all windows of so many hops. */
function loudnessOfWindows(hops: Float64Array, windowHops: number): Float64Array {
  const means = windowMeans(hops, windowHops)
  for (let first = 0; first < means.length; first++) means[first] = loudnessOf(means[first] as number)
  return means
}

/**
 * The short-term window that tells how loud the scene is that each hop belongs to, by its first hop: the one around it;
 * beside a cut the one before or after it, whichever is nearer to what sounds at the hop.
 */
function scenesOf(windows: Float64Array, moments: Float64Array, hopCount: number, cutLu: number): Int32Array {
  const inside = (values: Float64Array, first: number) => Math.min(Math.max(first, 0), Math.max(0, values.length - 1))
  const sceneAt = (k: number) => {
    const before = inside(windows, k + 1 - WINDOW_HOPS)
    const after = inside(windows, k)
    const loudBefore = windows[before] as number
    const loudAfter = windows[after] as number
    if (!(Math.abs(loudBefore - loudAfter) > cutLu)) return inside(windows, k - WINDOW_HOPS / 2)
    const here = moments[inside(moments, k - MOMENT_HOPS / 2)] as number
    return Math.abs(here - loudBefore) < Math.abs(here - loudAfter) ? before : after
  }
  const scenes = new Int32Array(hopCount)
  for (let k = 0; k < hopCount; k++) scenes[k] = sceneAt(k)
  return scenes
}

/** Short-term loudness of these windows; -Infinity where the programme is too short for one. */
function ofScenes(windows: Float64Array, scenes: Int32Array): Float64Array {
  const levels = new Float64Array(scenes.length)
  for (let k = 0; k < levels.length; k++) levels[k] = windows[scenes[k] as number] ?? Number.NEGATIVE_INFINITY
  return levels
}

const ABSOLUTE_GATE_LKFS = -70
const RELATIVE_GATE_LU = 20

/** @source EBU Tech 3342: 20 LU below the mean of what passes the absolute gate */
function gateOf(levels: Float64Array): number {
  let sum = 0
  let count = 0
  for (const lkfs of levels) {
    if (lkfs < ABSOLUTE_GATE_LKFS) continue
    sum += powerOf(lkfs)
    count++
  }
  return count === 0
    ? ABSOLUTE_GATE_LKFS
    : Math.max(ABSOLUTE_GATE_LKFS, loudnessOf((sum / count) * dbToPower(-RELATIVE_GATE_LU)))
}
