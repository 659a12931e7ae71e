import { type Fault, type FrameRange, gainToDb, printFigure, type Role } from '../../../domain/index.ts'
import type { Cap, Over } from './evidence.ts'
import { FULL_SCALE } from './overs.ts'
import type { ProgrammeEvidence } from './programme.ts'

/** At full scale this many runs, or one this long, are called clipped: three samples may be a lucky peak. */
const LEAST_RUNS_AT_FULL_SCALE = 2
const LONG_RUN_FRAMES = 4
/** Below full scale a level must show itself again and again to be a clipper's. */
const LEAST_RUNS_BELOW = 6
const LEAST_LONGEST_BELOW = 4
/** A clipper's flat tops are mostly entered like waves; those of a synthetic wave only by chance. */
const LEAST_SHARE = 0.4
/** Caps of two segments are one level if they are this close. */
const SAME_LEVEL = 2e-4
/** Worse than a note: this many runs a minute, or one run this long, 0.3 ms, which is heard as a crack. */
const WARN_RUNS_PER_MINUTE = 60
const WARN_RUN_SECONDS = 0.0003
export const MOST_PLACES = 32

export type Clipping = { readonly runs: number; readonly longestFrames: number; readonly caps: readonly Cap[] }

/** What is clipped in a channel: at full scale, and at lower levels that recur. */
export function clippingOf(evidence: ProgrammeEvidence, channel: number): Clipping {
  const levels: Cap[] = []
  for (const { channels } of evidence.segments) {
    for (const cap of channels[channel]?.caps ?? []) {
      const index = levels.findIndex(({ level }) => Math.abs(level - cap.level) <= SAME_LEVEL)
      if (index < 0) levels.push(cap)
      else levels[index] = joinCaps(levels[index] as Cap, cap)
    }
  }
  const caps = levels.filter(isClipping)
  return {
    caps,
    runs: caps.reduce((sum, { runs }) => sum + runs, 0),
    longestFrames: caps.reduce((longest, cap) => Math.max(longest, cap.longestFrames), 0),
  }
}

function joinCaps(a: Cap, b: Cap): Cap {
  return {
    level: a.level,
    runs: a.runs + b.runs,
    naturalRuns: a.naturalRuns + b.naturalRuns,
    longestFrames: Math.max(a.longestFrames, b.longestFrames),
    places: [...a.places, ...b.places],
  }
}

function isClipping({ level, runs, naturalRuns, longestFrames }: Cap): boolean {
  if (runs < LEAST_SHARE * (runs + naturalRuns)) return false
  if (Math.abs(level) >= FULL_SCALE) return runs >= LEAST_RUNS_AT_FULL_SCALE || longestFrames >= LONG_RUN_FRAMES
  return runs >= LEAST_RUNS_BELOW && longestFrames >= LEAST_LONGEST_BELOW
}

export function judgeClipping(evidence: ProgrammeEvidence, role: Role, clipping: Clipping): Fault[] {
  if (clipping.caps.length === 0) return []
  const places = longestPlaces(clipping.caps.flatMap((cap) => cap.places))
  const level = clipping.caps.reduce((highest, cap) => Math.max(highest, Math.abs(cap.level)), 0)
  const levelDbfs = Math.min(0, gainToDb(level))
  const perMinute = (60 * clipping.runs) / evidence.secondsOf(evidence.frameCount)
  const isBad = perMinute >= WARN_RUNS_PER_MINUTE || clipping.longestFrames >= WARN_RUN_SECONDS * evidence.sampleRateHz
  const where =
    level >= FULL_SCALE ? 'at full scale' : `at ${printFigure(levelDbfs)} dBFS: it was clipped and turned down later`
  return [
    {
      id: 'clipped',
      ...hull(places),
      channels: [role],
      severity: isBad ? 'warn' : 'note',
      count: clipping.runs,
      places,
      figures: { runs: clipping.runs, longestRunFrames: clipping.longestFrames, levelDbfs, runsPerMinute: perMinute },
      message:
        `${role} has ${clipping.runs} clipped ${clipping.runs === 1 ? 'top' : 'tops'} ${where}; ` +
        `the longest is ${clipping.longestFrames} samples. ` +
        'Ask for a transfer or a mix that is not clipped; if there is none, listen to the places.',
      source: 'common practice: three or more samples in a row at one extreme value',
    },
  ]
}

export function judgeBeyondFullScale(evidence: ProgrammeEvidence, role: Role, channel: number): Fault[] {
  const found = evidence.segments.map(({ channels }) => channels[channel]?.beyondFullScale)
  const count = found.reduce((sum, beyond) => sum + (beyond?.count ?? 0), 0)
  if (count === 0) return []
  const places = longestPlaces(found.flatMap((beyond) => beyond?.places ?? []))
  const highestDbfs = gainToDb(found.reduce((highest, beyond) => Math.max(highest, beyond?.highest ?? 0), 0))
  return [
    {
      id: 'over-full-scale',
      ...hull(places),
      channels: [role],
      severity: 'warn',
      count,
      places,
      figures: { samples: count, highestDbfs },
      message:
        `${role} goes up to +${printFigure(highestDbfs)} dBFS in floating point (${count} samples above full scale). ` +
        'Nothing is lost yet; turn it down before it is written as whole numbers, or it clips.',
      source: 'IEC 60268-18: full scale is the highest value that whole-number words can hold (from memory)',
    },
  ]
}

export function judgeOvers(evidence: ProgrammeEvidence, role: Role, channel: number): Fault[] {
  const found = evidence.segments.map(({ channels }) => channels[channel]?.overs)
  const count = oversOf(evidence, channel)
  if (count === 0) return []
  const highest = found.flatMap((overs) => overs?.highest ?? []).toSorted((a, b) => b.value - a.value)
  const places = inOrder(highest.slice(0, MOST_PLACES))
  const maxTruePeakDbtp = gainToDb((highest[0] as Over).value)
  return [
    {
      id: 'inter-sample-over',
      ...hull(places),
      channels: [role],
      severity: 'note',
      count,
      places,
      figures: { overs: count, maxTruePeakDbtp },
      message:
        `${role} rises above full scale between its samples ${count === 1 ? 'once' : `${count} times`}, ` +
        `up to +${printFigure(maxTruePeakDbtp)} dBTP. ` +
        'Lower it or limit it by true peak: converters and coders may clip there.',
      source: 'ITU-R BS.1770-5 Annex 2',
    },
  ]
}

export function oversOf(evidence: ProgrammeEvidence, channel: number): number {
  return evidence.segments.reduce((sum, { channels }) => sum + (channels[channel]?.overs.count ?? 0), 0)
}

function longestPlaces(places: readonly FrameRange[]): FrameRange[] {
  const longest = places.toSorted((a, b) => b.endFrame - b.startFrame - (a.endFrame - a.startFrame))
  return inOrder(longest.slice(0, MOST_PLACES))
}

export function inOrder(places: readonly FrameRange[]): FrameRange[] {
  return places
    .map(({ startFrame, endFrame }) => ({ startFrame, endFrame }))
    .toSorted((a, b) => a.startFrame - b.startFrame)
}

export function hull(places: readonly FrameRange[]): FrameRange {
  return {
    startFrame: places.reduce((first, { startFrame }) => Math.min(first, startFrame), Number.POSITIVE_INFINITY),
    endFrame: places.reduce((last, { endFrame }) => Math.max(last, endFrame), 0),
  }
}
