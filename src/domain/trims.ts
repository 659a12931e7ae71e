import { dbToPower } from './elementary.ts'
import { assert } from './findings.ts'
import type { FrameRange } from './frame-range.ts'
import { FINE_HOPS_PER_HOP, HOPS_PER_SECOND } from './grid.ts'
import { roundToGainStep } from './plan.ts'

/** A gain that the mixer puts on a stretch of the programme, on top of everything that the fit does. */
export type Trim = FrameRange & {
  readonly gainDb: number
  /** How long the gain takes from its neighbours' to its own, centred on each border; 100 ms at least. */
  readonly glideMs: number
  /** What the mixer wrote beside it, e.g. `door slam`. */
  readonly reason: string | null
}

/**
 * A ride that the mixer drew or recorded by hand: linear in dB between its points, held before the first and after the
 * last as far as the stretch reaches, nothing outside of it.
 */
export type HandRide = FrameRange & {
  /** In order of time, at least one. */
  readonly points: readonly { readonly frame: number; readonly gainDb: number }[]
  readonly reason: string | null
}

/** What the mixer puts on a stretch: it comes first, and the fit is solved around it. */
export type MixerGain = Trim | HandRide

/** The lowest and the highest gain of a trim or a hand ride. */
export function gainSpan(gain: MixerGain): { readonly lowestDb: number; readonly highestDb: number } {
  const gains = 'points' in gain ? gain.points.map(({ gainDb }) => gainDb) : [gain.gainDb]
  return { lowestDb: Math.min(...gains), highestDb: Math.max(...gains) }
}

/** Gain ramps between the points of a ride take one hop, so no glide is shorter. */
const SHORTEST_GLIDE_HOPS = 1

const HALF_HOP = FINE_HOPS_PER_HOP / 2

/**
 * The gain of all trims and hand rides in dB at the centre of each begun 100 ms hop, in steps of a plan's gains; null where nothing
 * is done. Where a trim lies on a hand ride their gains add up. A glide is a straight line in dB centred on the border, shortened where the trim is shorter; one of
 * 100 ms or less takes the hops whose centre lies inside. There is no glide at the ends of the programme.
 */
export function trimPoints(gains: readonly MixerGain[], hopCount: number, framesPerHop: number): Float64Array | null {
  const trims = gains.filter((gain): gain is Trim => !('points' in gain))
  const handRides = gains.filter((gain) => 'points' in gain)
  const inOrder = trims.toSorted((a, b) => a.startFrame - b.startFrame)
  for (const [index, trim] of inOrder.entries()) {
    const before = inOrder[index - 1]
    assert(trim.startFrame < trim.endFrame, 'a trim has a length')
    assert(before === undefined || before.endFrame <= trim.startFrame, 'trims do not overlap')
  }
  const points = new Float64Array(hopCount)
  const touched = inOrder.filter((trim) => addTrim(points, trim, framesPerHop))
  const ridden = handRides.filter((ride) => addHandRide(points, ride, framesPerHop))
  return touched.length + ridden.length === 0 ? null : points
}

/** Adds one hand ride and says whether it moved a point. */
function addHandRide(points: Float64Array, { startFrame, endFrame, points: drawn }: HandRide, framesPerHop: number) {
  let hasMoved = false
  let next = 0
  const first = Math.max(0, Math.ceil(startFrame / framesPerHop - 0.5))
  for (let k = first; k < points.length && (k + 0.5) * framesPerHop < endFrame; k++) {
    const centre = (k + 0.5) * framesPerHop
    while (next < drawn.length && (drawn[next] as DrawnPoint).frame <= centre) next++
    const before = drawn[Math.max(next - 1, 0)] as DrawnPoint
    const after = drawn[Math.min(next, drawn.length - 1)] as DrawnPoint
    const share = before === after ? 0 : Math.max(0, (centre - before.frame) / (after.frame - before.frame))
    const gainDb = roundToGainStep(before.gainDb + share * (after.gainDb - before.gainDb))
    points[k] = (points[k] as number) + gainDb
    hasMoved ||= gainDb !== 0
  }
  return hasMoved
}

type DrawnPoint = HandRide['points'][number]

/** Adds one trim and says whether it moved a point. Positions are counted in hops: that of hop k stands at k + 1/2. */
function addTrim(points: Float64Array, trim: Trim, framesPerHop: number): boolean {
  const isAtBeginning = trim.startFrame <= 0
  const isAtEnd = trim.endFrame > (points.length - 1) * framesPerHop
  const start = isAtBeginning ? Number.NEGATIVE_INFINITY : trim.startFrame / framesPerHop
  const end = isAtEnd ? Number.POSITIVE_INFINITY : trim.endFrame / framesPerHop
  const glide = Math.min((trim.glideMs / 1000) * HOPS_PER_SECOND, end - start)
  const reach = glide / 2
  const first = Math.max(0, Math.floor(start - reach - 1))
  const last = Math.min(points.length - 1, Math.ceil(end + reach))
  let hasMoved = false
  for (let k = first; k <= last; k++) {
    const centre = k + 0.5
    const share =
      glide <= SHORTEST_GLIDE_HOPS
        ? Number(centre >= start && centre < end)
        : Math.min(1, Math.max(0, (Math.min(centre - start, end - centre) + reach) / glide))
    const gainDb = roundToGainStep(share * trim.gainDb)
    points[k] = (points[k] as number) + gainDb
    hasMoved ||= gainDb !== 0
  }
  return hasMoved
}

/** Fine hops [first, end) under one law: the mean power gain of the first, times `ratio` from each to the next. */
export type GainPiece = {
  readonly first: number
  readonly end: number
  readonly powerGain: number
  readonly ratio: number
}

/**
 * What a curve of ride points does to the energy of each fine hop: the mean of the squared gain over its 10 ms, with
 * the gain a straight line in dB between the points, held before the first and after the last. Points that are alike
 * make one piece of ratio 1.
 */
export function gainPieces(pointsDb: Float64Array, fineHopCount: number): readonly GainPiece[] {
  const pieces: GainPiece[] = []
  const lastPoint = pointsDb.length - 1
  const centreOf = (point: number): number =>
    Math.min(point > lastPoint ? fineHopCount : point * FINE_HOPS_PER_HOP + HALF_HOP, fineHopCount)
  let first = 0
  for (let point = 0; first < fineHopCount; point++) {
    const fromDb = pointsDb[Math.max(point - 1, 0)] as number
    const toDb = pointsDb[Math.min(point, lastPoint)] as number
    let end = centreOf(point)
    if (fromDb === toDb) {
      while (pointsDb[point + 1] === toDb) point++
      end = centreOf(point < lastPoint ? point : point + 1)
      pieces.push({ first, end, powerGain: dbToPower(toDb), ratio: 1 })
    } else {
      const stepDb = (toDb - fromDb) / FINE_HOPS_PER_HOP
      const powerGain = dbToPower(fromDb + stepDb / 2) * meanOverMiddle(stepDb)
      pieces.push({ first, end, powerGain, ratio: dbToPower(stepDb) })
    }
    first = end
  }
  return pieces
}

/** The same, one value per fine hop. */
export function powerGains(pointsDb: Float64Array, fineHopCount: number): Float64Array {
  const gains = new Float64Array(fineHopCount)
  for (const { first, end, powerGain, ratio } of gainPieces(pointsDb, fineHopCount)) {
    let gain = powerGain
    for (let i = first; i < end; i++) {
      gains[i] = gain
      gain *= ratio
    }
  }
  return gains
}

const NEPERS_PER_DB = 0.1151292546497023
const SERIES_TERMS = 8

/** Mean of a power that moves by `stepDb` in a straight line of dB, against its value half way: sinh(x) / x. */
function meanOverMiddle(stepDb: number): number {
  const x = stepDb * NEPERS_PER_DB
  let sum = 1
  for (let n = SERIES_TERMS; n >= 1; n--) sum = 1 + (sum * x * x) / (2 * n * (2 * n + 1))
  return sum
}
