import { type Fault, type FrameRange, printFigure, type Role } from '../../../domain/index.ts'
import type { QuietPiece } from './evidence.ts'
import { pairsOf } from './levels.ts'
import { type ProgrammeEvidence, runsOf } from './programme.ts'

/** A hole up to this long is a dropout, in one channel or in all. */
const LONGEST_HOLE_SECONDS = 0.1
/** All channels cut to silence and back within this are a fault; longer, it may be the break of an act. */
const LONGEST_CUT_SECONDS = 1
/** A stem of single sounds that rests on digital silence for more than this of its time is cut by nature, */
const MOST_SILENT_SHARE = 0.05
/** except for holes shorter than any pause that is edited. */
const LONGEST_SURE_SECONDS = 0.02
/** Edges of one hole in several channels lie this close together. */
const SAME_EDGE_SECONDS = 0.002
/** -70 dBFS: a channel above it sounds. */
const SOUNDING_DB = -70

/** Holes of one instant in the channels that have them. */
export type Hole = FrameRange & {
  readonly channels: readonly Role[]
  readonly kind: 'dropout' | 'intermittent-channel'
}

/** Stretches of silence or crosstalk cut into sound, over all channels. */
export function findHoles(evidence: ProgrammeEvidence): Hole[] {
  return groupGaps(evidence)
    .flatMap((group) => {
      const { startFrame, endFrame } = group[0] as Gap
      const hole = classify(evidence, { startFrame, endFrame, channels: group.map(({ role }) => role) })
      return hole !== null && isCut(evidence, group, hole) ? [hole] : []
    })
    .toSorted((a, b) => a.startFrame - b.startFrame)
}

/** Gaps of several channels that begin and end together. */
function groupGaps(evidence: ProgrammeEvidence): Gap[][] {
  const near = SAME_EDGE_SECONDS * evidence.sampleRateHz
  const gaps = evidence.roles.flatMap((role, channel) => gapsOf(evidence, role, channel))
  const groups: Gap[][] = []
  let firstNear = 0
  for (const gap of gaps.toSorted((a, b) => a.startFrame - b.startFrame)) {
    const isPast = (group: Gap[] | undefined) => group?.[0] !== undefined && group[0].startFrame < gap.startFrame - near
    while (isPast(groups[firstNear])) firstNear += 1
    const group = groups.slice(firstNear).find(([first]) => first !== undefined && isSame(first, gap, near))
    if (group === undefined) groups.push([gap])
    else if (!group.some(({ role }) => role === gap.role)) group.push(gap)
  }
  return groups
}

type Gap = QuietPiece & { readonly role: Role }

function isSame(a: FrameRange, b: FrameRange, near: number): boolean {
  return Math.abs(a.startFrame - b.startFrame) <= near && Math.abs(a.endFrame - b.endFrame) <= near
}

/** What a gap is called if it is cut into sound; null where it may be the break of an act, or the end. */
function classify(evidence: ProgrammeEvidence, hole: Omit<Hole, 'kind'>): Hole | null {
  const seconds = evidence.secondsOf(hole.endFrame - hole.startFrame)
  const others = evidence.roles.flatMap((role, channel) => (hole.channels.includes(role) ? [] : [channel]))
  if (seconds > LONGEST_HOLE_SECONDS && others.some((channel) => soundsThrough(evidence, hole, channel))) {
    return { ...hole, kind: 'intermittent-channel' }
  }
  if (seconds > LONGEST_CUT_SECONDS || hole.endFrame === evidence.frameCount) return null
  const mayBeEdited = seconds > LONGEST_SURE_SECONDS && evidence.silentShare > MOST_SILENT_SHARE
  if (mayBeEdited && !others.some((channel) => soundsThrough(evidence, hole, channel))) return null
  return { ...hole, kind: 'dropout' }
}

/** Whether a channel sounds within the first and the last tenth of a second of a hole, and mostly between. */
function soundsThrough(evidence: ProgrammeEvidence, hole: FrameRange, channel: number): boolean {
  const first = Math.ceil(evidence.fineHopOf(hole.startFrame))
  const last = Math.floor(evidence.fineHopOf(hole.endFrame))
  let sounding = 0
  for (let fineHop = first; fineHop < last; fineHop++) {
    if (evidence.fineDb(fineHop, channel) > SOUNDING_DB) sounding += 1
  }
  return sounding >= (last - first) / 2
}

/** Whole stretches of a channel within either floor, pieces joined; where both floors show one, that of silence. */
function gapsOf(evidence: ProgrammeEvidence, role: Role, channel: number): Gap[] {
  const join = (floor: 'silent' | 'low') =>
    joinPieces(evidence.segments.map(({ channels }) => channels[channel]?.[floor] ?? []))
  return [...join('silent'), ...join('low').filter(isSharp)].map((gap) => ({ ...gap, role }))
}

function joinPieces(segments: readonly (readonly QuietPiece[])[]): QuietPiece[] {
  const whole: QuietPiece[] = []
  let open: QuietPiece | null = null
  for (const piece of segments.flat()) {
    const before: QuietPiece | null = piece.start === null && open?.endFrame === piece.startFrame ? open : null
    const joined: QuietPiece =
      before === null
        ? piece
        : { ...piece, startFrame: before.startFrame, start: before.start, isZeroed: before.isZeroed && piece.isZeroed }
    open = piece.end === null ? joined : null
    if (piece.end !== null) whole.push(joined)
  }
  return whole
}

/** Before and after a hole stands sound of about one level. */
const MOST_LEVEL_RATIO = 10
/** Shorter than this a hole that is not zero may be a wave that rests. */
const SHORTEST_NOISY_SECONDS = 0.002

/** Whether the channels that have a gap at one instant were cut there. */
function isCut(evidence: ProgrammeEvidence, group: readonly Gap[], hole: Hole): boolean {
  const seconds = evidence.secondsOf(hole.endFrame - hole.startFrame)
  if (hole.endFrame === evidence.frameCount) return group.some(isCutOff)
  const isLong = seconds > LONGEST_HOLE_SECONDS
  const inSound = group.filter(({ start, end }) => start !== null && end !== null)
  // What a long hole swallowed may have become louder or softer meanwhile.
  const steady = inSound.filter(({ start, end }) => isLong || isNear(start?.level ?? 0, end?.level ?? 0))
  if (steady.some(isSharp) && seconds >= SHORTEST_NOISY_SECONDS) return true
  const told = steady.filter(({ isZeroed }) => isZeroed || isLong)
  const startsHard = told.some(({ start }) => start?.isHard === true)
  const endsHard = told.some(({ end }) => end?.isHard === true)
  const breaks = told.some(({ start, end }) => start?.isBreak === true || end?.isBreak === true)
  // Zeros between two hard edges are no sound; otherwise the wave must be seen to break.
  if (startsHard && endsHard) return breaks || !isLong
  // Where the sound stands right up to zeros at both sides, one hard edge is enough: a fade would have died away.
  return breaks && (startsHard || endsHard) && told.some(({ isZeroed }) => isZeroed)
}

function isNear(a: number, b: number): boolean {
  return a <= MOST_LEVEL_RATIO * b && b <= MOST_LEVEL_RATIO * a
}

/** Hard edges that break the wave at both ends. */
function isSharp({ start, end }: QuietPiece): boolean {
  return [start, end].every((edge) => edge?.isHard === true && edge.isBreak)
}

/** Cut off in the middle of a wave, and silent to the end of the programme. */
function isCutOff({ start }: Gap): boolean {
  return start?.isHard === true && start.isBreak
}

/** A lost channel stands this far below its partner, and below this level. */
const LOST_BELOW_PARTNER_DB = 26
const LOST_LEVEL_DB = -50
/** It goes and comes by this much within 30 ms, while the partner holds its level. */
const LEAST_FALL_DB = 20
const PARTNER_HOLDS_DB = 12
const SHORTEST_LOSS_FINE_HOPS = 5
const EDGE_FINE_HOPS = 3
/** A lost channel is at its floor as soon as it is gone; what is faded or gated sinks on. */
const MOST_SINKING_DB = 15
/** Before and after, the two have this much in common: what the channel lost is still in its partner. */
const LEAST_CORRELATION = 0.35
const CORRELATED_HOPS = 10

/**
 * Losses that leave a little noise, or whose edges are not sharp: of a pair with sound in common one goes down while
 * the other keeps on, and comes back as it went.
 */
export function findLosses(evidence: ProgrammeEvidence): Hole[] {
  return pairsOf(evidence.layout).flatMap(([left, right], pair) => [
    ...lossesOf(evidence, left, right, pair),
    ...lossesOf(evidence, right, left, pair),
  ])
}

function lossesOf(evidence: ProgrammeEvidence, role: Role, partner: Role, pair: number): Hole[] {
  const own = evidence.roles.indexOf(role)
  const other = evidence.roles.indexOf(partner)
  const ownDb = (fineHop: number) => evidence.fineDb(fineHop, own)
  const otherDb = (fineHop: number) => evidence.fineDb(fineHop, other)
  const isLost = (fineHop: number) =>
    ownDb(fineHop) < LOST_LEVEL_DB &&
    (otherDb(fineHop) - ownDb(fineHop) >= LOST_BELOW_PARTNER_DB || otherDb(fineHop) < LOST_LEVEL_DB)
  const runs = runsOf(evidence.fineHopCount, isLost, 0, SHORTEST_LOSS_FINE_HOPS)
  return runs.flatMap(([from, to]) => {
    if (from < EDGE_FINE_HOPS || to + EDGE_FINE_HOPS >= evidence.fineHopCount) return []
    const falls = ownDb(from - 2) - ownDb(from + 1) >= LEAST_FALL_DB && holds(otherDb, from - 2, from + 1)
    const returns = ownDb(to + 1) - ownDb(to - 2) >= LEAST_FALL_DB && holds(otherDb, to - 2, to + 1)
    if (!falls || !returns || sinks(ownDb, from, to)) return []
    const hopFrom = evidence.hopOfFineHop(from)
    const hopTo = evidence.hopOfFineHop(to) + 1
    const before = correlation(evidence, pair, own, other, [hopFrom - CORRELATED_HOPS, hopFrom])
    const after = correlation(evidence, pair, own, other, [hopTo, hopTo + CORRELATED_HOPS])
    if (Math.min(Math.abs(before), Math.abs(after)) < LEAST_CORRELATION) return []
    const range = { startFrame: evidence.frameOfFineHop(from), endFrame: evidence.frameOfFineHop(to) }
    return [{ ...range, channels: [role], kind: 'intermittent-channel' as const }]
  })
}

/** Whether the level 10 ms behind either edge is far above what lies between. */
function sinks(levelDb: (fineHop: number) => number, from: number, to: number): boolean {
  const between = Array.from({ length: to - from }, (_, index) => levelDb(from + index)).toSorted((a, b) => a - b)
  const floorDb = between[between.length >> 1] as number
  return Math.max(levelDb(from + 1), levelDb(to - 2)) > floorDb + MOST_SINKING_DB
}

function holds(levelDb: (fineHop: number) => number, a: number, b: number): boolean {
  return levelDb(b) > LOST_LEVEL_DB && Math.abs(levelDb(a) - levelDb(b)) <= PARTNER_HOLDS_DB
}

/** Zero-lag correlation of a pair over hops [from, to); 0 in silence. */
export function correlation(
  evidence: ProgrammeEvidence,
  pair: number,
  left: number,
  right: number,
  hops: readonly [number, number],
): number {
  const productCount = evidence.series('products').length / Math.max(1, evidence.hopCount)
  const across = evidence.sum('products', productCount, pair, hops)
  const a = evidence.sum('energies', evidence.channelCount, left, hops)
  const b = evidence.sum('energies', evidence.channelCount, right, hops)
  return a > 0 && b > 0 ? across / Math.sqrt(a * b) : 0
}

export function describeHole(evidence: ProgrammeEvidence, hole: Hole): Fault {
  const seconds = evidence.secondsOf(hole.endFrame - hole.startFrame)
  const long = seconds < 1 ? `${printFigure(1000 * seconds)} ms` : `${printFigure(seconds)} s`
  const who = hole.channels.length === evidence.channelCount ? 'The sound' : hole.channels.join(', ')
  const message =
    hole.kind === 'dropout'
      ? `${who} drops out for ${long} in the middle of a wave. Compare with another copy; patch the hole or ask for a new transfer.`
      : `${who} is gone for ${long} while the other channels go on. Check the transfer and its cables; take the channel from another copy.`
  return {
    id: hole.kind,
    startFrame: hole.startFrame,
    endFrame: hole.endFrame,
    channels: hole.channels,
    severity: 'fail',
    count: 1,
    places: [{ startFrame: hole.startFrame, endFrame: hole.endFrame }],
    figures: { durationSeconds: seconds },
    message,
    source: 'common practice',
  }
}
