import {
  type FrameRange,
  frameRateFraction,
  framesPerHop,
  type HandRide,
  instantOnHop,
  type MixerGain,
  type PlacedSheet,
  printInstant,
  readInstant,
  type Sheet,
  type SheetGround,
  trimPoints,
} from '../../domain/index.ts'

type SheetHandRide = NonNullable<Sheet['fit']['handRides']>[number]

/** What a fader did: its gain in dB in the middle of each 100 ms, from the first on. */
export type Take = { readonly firstHop: number; readonly gainsDb: readonly number[] }

/** Points are left out as long as the ride stays this near to the fader in the middle of every 100 ms. */
export const THINNED_WITHIN_DB = 0.05
/** What is cut out of a ride that is there already is written as it was, but for the last digit. */
const CUT_WITHIN_DB = 0.01
/** Behind a take the ride goes back to what lay there before, in 100 ms. */
const WAY_BACK_HOPS = 5
const WRITTEN_STEPS_PER_DB = 100

export function handRidesOf(gains: readonly MixerGain[]): readonly HandRide[] {
  return gains.filter((gain): gain is HandRide => 'points' in gain)
}

/** The gain of the hand rides alone at each 100 ms, in dB. */
export function riddenDb(gains: readonly MixerGain[], { sampleRateHz, frameCount }: SheetGround): Float64Array {
  const hopFrames = framesPerHop(sampleRateHz)
  const hopCount = Math.ceil(frameCount / hopFrames)
  return trimPoints(handRidesOf(gains), hopCount, hopFrames) ?? new Float64Array(hopCount)
}

/** All gains but what hand rides do from a frame on. */
export function withoutRideFrom(gains: readonly MixerGain[], frame: number): readonly MixerGain[] {
  return gains.flatMap((gain) => {
    if (!('points' in gain) || gain.endFrame <= frame) return [gain]
    return gain.startFrame >= frame ? [] : [{ ...gain, endFrame: frame }]
  })
}

/** A take as a ride that is not written down yet. */
export function rideOf({ firstHop, gainsDb }: Take, hopFrames: number): HandRide {
  return {
    startFrame: firstHop * hopFrames,
    endFrame: (firstHop + gainsDb.length) * hopFrames,
    points: gainsDb.map((gainDb, index) => ({ frame: (firstHop + index + 0.5) * hopFrames, gainDb })),
    reason: null,
  }
}

/**
 * The sheet with a take in it: rides that lay there make room, behind its end it goes back to them, locks keep their
 * tolerance and nothing lies outside of the programme. A take without gain takes away what lay there.
 */
export function withTake(sheet: Sheet, ground: SheetGround, placed: PlacedSheet, take: Take): Sheet {
  const hopFrames = framesPerHop(ground.sampleRateHz)
  const { firstHop, gainsDb } = withWayBack(take, riddenDb(placed.gains, ground))
  const range = {
    startFrame: firstHop * hopFrames,
    endFrame: Math.min(ground.frameCount, (firstHop + gainsDb.length) * hopFrames),
  }
  const written = allowedWithin(range, placed, ground).flatMap(({ stretch, mostDb }) =>
    writtenRide(stretch, ground, THINNED_WITHIN_DB, null, (hop) => {
      const gainDb = gainsDb[hop - firstHop] ?? 0
      return Math.max(-mostDb, Math.min(mostDb, gainDb))
    }),
  )
  return withRides(sheet, ground, [...besides(sheet, ground, placed.gains, range), ...written])
}

/** The sheet with no hand ride in a stretch. */
export function withoutRide(sheet: Sheet, ground: SheetGround, gains: readonly MixerGain[], range: FrameRange): Sheet {
  return withRides(sheet, ground, besides(sheet, ground, gains, range))
}

function withWayBack({ firstHop, gainsDb }: Take, before: Float64Array): Take {
  const end = firstHop + gainsDb.length
  const last = gainsDb.at(-1) ?? 0
  const back = Array.from({ length: Math.min(WAY_BACK_HOPS, before.length - end) }, (_, index) => {
    const share = (index + 1) / (WAY_BACK_HOPS + 1)
    return last + share * (before[end + index]! - last)
  })
  const isThereAlready = back.every((gainDb, index) => Math.abs(gainDb - before[end + index]!) < CUT_WITHIN_DB)
  return { firstHop, gainsDb: isThereAlready ? gainsDb : [...gainsDb, ...back] }
}

/** The hand rides as they are written, without what lies in a stretch. */
function besides(
  sheet: Sheet,
  ground: SheetGround,
  gains: readonly MixerGain[],
  range: FrameRange,
): readonly SheetHandRide[] {
  const before = riddenDb(gains, ground)
  const written = sheet.fit.handRides ?? []
  return handRidesOf(gains).flatMap((ride) => {
    if (ride.endFrame <= range.startFrame || range.endFrame <= ride.startFrame) {
      return written.filter(({ from }) => readInstant(ground.clock, from, ground.sampleRateHz) === ride.startFrame)
    }
    const pieces = [
      { startFrame: ride.startFrame, endFrame: range.startFrame },
      { startFrame: range.endFrame, endFrame: ride.endFrame },
    ]
    return pieces
      .filter(({ startFrame, endFrame }) => startFrame < endFrame)
      .flatMap((piece) => writtenRide(piece, ground, CUT_WITHIN_DB, ride.reason, (hop) => before[hop]!))
  })
}

/** The parts of a stretch that a trim or a ride may lie in, and how far it may go there. */
export function allowedWithin(
  range: FrameRange,
  { segments, locks }: Pick<PlacedSheet, 'segments' | 'locks'>,
  { frameCount }: SheetGround,
) {
  const programme = segments.filter(({ kind }) => kind === 'programme')
  const all = segments.length === 0 ? [{ startFrame: 0, endFrame: frameCount }] : programme
  const borders = [...all, ...locks].flatMap(({ startFrame, endFrame }) => [startFrame, endFrame])
  const cuts = [...new Set([range.startFrame, ...borders, range.endFrame])]
    .filter((frame) => frame >= range.startFrame && frame <= range.endFrame)
    .toSorted((a, b) => a - b)
  return cuts.slice(1).flatMap((endFrame, index) => {
    const stretch = { startFrame: cuts[index]!, endFrame }
    const isIn = (other: FrameRange) => other.startFrame <= stretch.startFrame && endFrame <= other.endFrame
    const mostDb = Math.min(...locks.filter(isIn).map(({ toleranceDb }) => toleranceDb), Number.POSITIVE_INFINITY)
    return all.some(isIn) && mostDb > 0 ? [{ stretch, mostDb }] : []
  })
}

/** A ride over the 100 ms whose middle lies in a stretch, with as few points as it takes; none where nothing is moved. */
function writtenRide(
  range: FrameRange,
  ground: SheetGround,
  withinDb: number,
  reason: string | null,
  gainAt: (hop: number) => number,
): readonly SheetHandRide[] {
  const { clock, sampleRateHz } = ground
  const hopFrames = framesPerHop(sampleRateHz)
  const firstHop = Math.ceil(range.startFrame / hopFrames - 0.5)
  const endHop = Math.ceil(range.endFrame / hopFrames - 0.5)
  const gainsDb = Array.from({ length: endHop - firstHop }, (_, index) => gainAt(firstHop + index))
  if (gainsDb.every((gainDb) => Math.abs(gainDb) < 1 / WRITTEN_STEPS_PER_DB)) return []
  const points = thinned(knotsOf(firstHop, gainsDb, ground), withinDb).map(({ frame, gainDb }) => ({
    at: printInstant(clock, frame, sampleRateHz),
    gainDb,
  }))
  const [from, to] = [range.startFrame, range.endFrame].map((frame) => instantOnHop(clock, frame, sampleRateHz))
  return [{ from: from!, to: to!, points, reason }]
}

/** A place where a point can be written; `isBehind`: the middle of its 100 ms has passed there. */
type Knot = {
  readonly frame: number
  readonly gainDb: number
  readonly middle: number
  readonly wantedDb: number
  readonly isBehind: boolean
}

/**
 * Where points can be written so that the ride in the middle of each 100 ms is exact: there, or, where a label counts in
 * pictures only, at the pictures before and behind it.
 */
function knotsOf(firstHop: number, gainsDb: readonly number[], { clock, sampleRateHz }: SheetGround): readonly Knot[] {
  const hopFrames = framesPerHop(sampleRateHz)
  const { numerator, denominator } =
    clock === null ? { numerator: 1000, denominator: 1 } : frameRateFraction(clock.format.rate)
  const step = (sampleRateHz * denominator) / numerator
  const instant = (frame: number) => {
    const read = readInstant(clock, printInstant(clock, frame, sampleRateHz), sampleRateHz)
    return typeof read === 'number' ? read : frame
  }
  return gainsDb.flatMap((wantedDb, index) => {
    const middle = (firstHop + index + 0.5) * hopFrames
    const before = instant(middle)
    const gainDb = Math.round(wantedDb * WRITTEN_STEPS_PER_DB) / WRITTEN_STEPS_PER_DB
    const knot = { gainDb, middle, wantedDb }
    if (before === middle) return [{ ...knot, frame: before, isBehind: true }]
    const behind = instant(Math.ceil(before + step))
    return [
      { ...knot, frame: before, isBehind: false },
      { ...knot, frame: behind, isBehind: true },
    ]
  })
}

/** From each knot the farthest that a straight line reaches while it stays near enough in the middle of every 100 ms. */
function thinned(knots: readonly Knot[], withinDb: number): readonly Knot[] {
  const kept = [knots[0]!]
  for (let at = 0; at < knots.length - 1; ) {
    const { frame, gainDb } = knots[at]!
    let [lowest, highest] = [Number.NEGATIVE_INFINITY, Number.POSITIVE_INFINITY]
    let reached = at + 1
    for (let next = at + 1; next < knots.length && lowest <= highest; next++) {
      const knot = knots[next]!
      if (knot.isBehind && knot.middle > frame) {
        const length = knot.middle - frame
        lowest = Math.max(lowest, (knot.wantedDb - withinDb - gainDb) / length)
        highest = Math.min(highest, (knot.wantedDb + withinDb - gainDb) / length)
      }
      const slope = (knot.gainDb - gainDb) / (knot.frame - frame)
      if (slope >= lowest && slope <= highest) reached = next
    }
    at = reached
    kept.push(knots[at]!)
  }
  return kept
}

function withRides(sheet: Sheet, { clock, sampleRateHz }: SheetGround, rides: readonly SheetHandRide[]): Sheet {
  const frameOf = ({ from }: SheetHandRide) => Number(readInstant(clock, from, sampleRateHz))
  const { handRides: _, ...fit } = sheet.fit
  const inOrder = rides.toSorted((a, b) => frameOf(a) - frameOf(b))
  return { ...sheet, fit: inOrder.length === 0 ? fit : { ...fit, handRides: inOrder } }
}
