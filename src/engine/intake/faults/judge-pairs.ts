import {
  type Fault,
  type FrameRange,
  HOPS_PER_SECOND,
  powerToDb,
  printFigure,
  type Role,
} from '../../../domain/index.ts'
import { correlation } from './judge-gaps.ts'
import { hull, MOST_PLACES } from './judge-peaks.ts'
import { pairsOf } from './levels.ts'
import { type ProgrammeEvidence, runsOf } from './programme.ts'

/** Correlation over four seconds below which a pair counts as inverted; and how long it must stay so. */
const INVERTED_CORRELATION = -0.5
const WINDOW_HOPS = 40
const SHORTEST_INVERTED_HOPS = 80
const BRIDGE_HOPS = 50
/** The two must be within 12 dB of each other and above -55 dBFS to say anything. */
const MOST_LEVEL_RATIO = 16
const LEAST_ENERGY = 3e-6

/** Pairs of a multichannel programme whose sides cancel: one of them is inverted. */
export function judgePolarity(evidence: ProgrammeEvidence): Fault[] {
  if (!evidence.roles.includes('C')) return []
  const pairs = pairsOf(evidence.layout)
  const faults = pairs.flatMap(([left, right], pair) => {
    const [a, b] = [evidence.roles.indexOf(left), evidence.roles.indexOf(right)]
    const places = invertedPlaces(evidence, (hops) => ({
      correlation: correlation(evidence, pair, a, b, hops),
      energies: [energy(evidence, a, hops), energy(evidence, b, hops)],
    }))
    return describeInverted([left, right], `${left} and ${right}`, places)
  })
  const centre = evidence.roles.indexOf('C')
  const productCount = pairs.length + 1
  const places = invertedPlaces(evidence, (hops) => {
    const front = evidence.sum('frontSums', 1, 0, hops)
    const own = evidence.sum('energies', evidence.channelCount, centre, hops)
    const across = evidence.sum('products', productCount, pairs.length, hops)
    const frames = framesOf(evidence, hops)
    return {
      correlation: front > 0 && own > 0 ? across / Math.sqrt(front * own) : 0,
      energies: [front / frames, own / frames],
    }
  })
  return [...faults, ...describeInverted(['C'], 'C and the sum of L and R', places)]
}

function framesOf(evidence: ProgrammeEvidence, [from, to]: readonly [number, number]): number {
  return Math.max(1, evidence.frameOfHop(Math.max(0, to)) - evidence.frameOfHop(Math.max(0, from)))
}

function energy(evidence: ProgrammeEvidence, channel: number, hops: readonly [number, number]): number {
  return evidence.sum('energies', evidence.channelCount, channel, hops) / framesOf(evidence, hops)
}

/**
 * Hops of which both a long window that holds them and the short window around them are so: a long window tells
 * whether it is so, a short one where it begins and ends.
 */
function markBoth(
  hopCount: number,
  windowHops: number,
  isSo: (hops: readonly [number, number]) => boolean,
): Uint8Array {
  const marks = new Uint8Array(hopCount)
  const near = Array.from({ length: hopCount }, (_, hop) => isSo([hop - EDGE_HALF_HOPS, hop + EDGE_HALF_HOPS]))
  let markedTo = 0
  for (let first = 0; first + windowHops <= hopCount; first++) {
    if (!isSo([first, first + windowHops])) continue
    for (let hop = Math.max(first, markedTo); hop < first + windowHops; hop++) if (near[hop] === true) marks[hop] = 1
    markedTo = first + windowHops
  }
  return marks
}

const EDGE_HALF_HOPS = 5

type PairState = { readonly correlation: number; readonly energies: readonly [number, number] }

function invertedPlaces(
  evidence: ProgrammeEvidence,
  state: (hops: readonly [number, number]) => PairState,
): FrameRange[] {
  const isInverted = (hops: readonly [number, number]) => {
    const { correlation, energies } = state(hops)
    const [a, b] = energies
    if (Math.min(a, b) < LEAST_ENERGY || Math.max(a, b) > MOST_LEVEL_RATIO * Math.min(a, b)) return false
    return correlation <= INVERTED_CORRELATION
  }
  const inverted = markBoth(evidence.hopCount, WINDOW_HOPS, isInverted)
  const runs = runsOf(evidence.hopCount, (hop) => inverted[hop] === 1, BRIDGE_HOPS, SHORTEST_INVERTED_HOPS)
  return runs.map(([from, to]) => ({ startFrame: evidence.frameOfHop(from), endFrame: evidence.frameOfHop(to) }))
}

function describeInverted(channels: readonly Role[], who: string, places: readonly FrameRange[]): Fault[] {
  if (places.length === 0) return []
  return [
    {
      id: 'inverted-pair',
      ...hull(places),
      channels,
      severity: 'fail',
      count: places.length,
      places: places.slice(0, MOST_PLACES),
      figures: {},
      message: `${who} are of opposite polarity: they cancel in the fold-down. Invert ${channels.at(-1)} there and listen.`,
      source: 'common practice',
    },
  ]
}

/** Windows in which the mono sum is judged, and how far below -20 dB re the programme they may lie. */
const MONO_WINDOW_HOPS = 30
const QUIET_BELOW_PROGRAMME = 0.01
/** The mono sum of independent sides reads 0 dB; from here on listeners in mono miss something. */
const NOTED_LOSS_DB = -6
const BAD_LOSS_DB = -10

export type MonoSum = { readonly wholeDb: number | null; readonly faults: readonly Fault[] }

/** What is left when both sides (of the fold-down) are heard from one loudspeaker. */
export function judgeMonoSum(evidence: ProgrammeEvidence): MonoSum {
  const all = [0, evidence.hopCount] as const
  const both = evidence.sum('sides', 2, 0, all)
  if (both <= 0) return { wholeDb: null, faults: [] }
  const least = (QUIET_BELOW_PROGRAMME * both) / evidence.hopCount
  const lossOver = (hops: readonly [number, number]) => {
    const here = evidence.sum('sides', 2, 0, hops)
    if (here < least * (hops[1] - hops[0])) return 0
    return ratioDb(evidence.sum('sides', 2, 1, hops), here)
  }
  const lossy = markBoth(evidence.hopCount, MONO_WINDOW_HOPS, (hops) => lossOver(hops) <= NOTED_LOSS_DB)
  const runs = runsOf(evidence.hopCount, (hop) => lossy[hop] === 1, HOPS_PER_SECOND, MONO_WINDOW_HOPS)
  const wholeDb = ratioDb(evidence.sum('sides', 2, 1, all), both)
  if (runs.length === 0) return { wholeDb, faults: [] }
  const worstDb = runs.reduce((worst, [from, to]) => Math.min(worst, worstOver(lossOver, from, to)), 0)
  const places = runs.map(([from, to]) => ({
    startFrame: evidence.frameOfHop(from),
    endFrame: evidence.frameOfHop(to),
  }))
  const fault: Fault = {
    id: 'mono-loss',
    ...hull(places),
    channels: evidence.roles,
    severity: worstDb <= BAD_LOSS_DB ? 'warn' : 'note',
    count: places.length,
    places: places.slice(0, MOST_PLACES),
    figures: { worstDb, wholeDb },
    message:
      `In mono the sound loses up to ${printFigure(-worstDb)} dB: its sides cancel. ` +
      'Listen to the places in mono; narrow or re-balance what disappears, or invert a side if it is flipped.',
    source: 'common practice',
  }
  return { wholeDb, faults: [fault] }
}

function worstOver(lossOver: (hops: readonly [number, number]) => number, from: number, to: number): number {
  let worst = 0
  for (let first = from; first + MONO_WINDOW_HOPS <= to; first++) {
    worst = Math.min(worst, lossOver([first, first + MONO_WINDOW_HOPS]))
  }
  return worst
}

/** Total cancellation reads -60 dB. */
function ratioDb(sum: number, both: number): number {
  return powerToDb(Math.max(sum / both, 1e-6))
}
