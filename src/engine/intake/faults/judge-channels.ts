import {
  type Fault,
  framesPerHop,
  gainToDb,
  HOPS_PER_SECOND,
  powerToDb,
  printFigure,
  type Role,
} from '../../../domain/index.ts'
import { hull, MOST_PLACES } from './judge-peaks.ts'
import { type ProgrammeEvidence, runsOf } from './programme.ts'

/** Below -90 dBFS over the whole programme a channel is dead, if another one stands above -60 dBFS. */
const DEAD_DB = -90
const ALIVE_DB = -60

export function levelDbOf(evidence: ProgrammeEvidence, channel: number): number {
  const energy = evidence.sum('energies', evidence.channelCount, channel, [0, evidence.hopCount])
  return powerToDb(energy / evidence.frameCount)
}

export function judgeDead(evidence: ProgrammeEvidence): Fault[] {
  const levels = evidence.roles.map((_, channel) => levelDbOf(evidence, channel))
  if (!levels.some((level) => level > ALIVE_DB)) return []
  const dead = evidence.roles.filter((_, channel) => (levels[channel] as number) < DEAD_DB)
  return dead.map((role) => ({
    id: 'dead-channel',
    startFrame: 0,
    endFrame: evidence.frameCount,
    channels: [role],
    // An empty LFE is common practice; any other empty channel has to be meant.
    severity: role === 'LFE' ? 'note' : 'warn',
    count: 1,
    places: [{ startFrame: 0, endFrame: evidence.frameCount }],
    figures: {},
    message:
      role === 'LFE'
        ? 'The LFE is empty from beginning to end. If the spec asks for an LFE, ask for the right file.'
        : `${role} is empty from beginning to end. Check that this is the right file and that no track was lost.`,
    source: 'common practice',
  }))
}

/** DC counts from -60 dBFS, a thousandth of full scale, and is bad from -40 dBFS. */
const LEAST_DC = 0.001
const BAD_DC = 0.01
/** Seconds looked at together, and how many of them agree. */
const DC_WINDOW_SECONDS = 11
const LEAST_AGREEING = 9
const SHORTEST_DC_SECONDS = 3

/** Where the samples of a channel have a steady mean that is not zero. */
export function judgeDc(evidence: ProgrammeEvidence, role: Role, channel: number): Fault[] {
  const means = secondMeans(evidence, channel)
  const offsets = steadyOffsets(means)
  const runs = runsOf(
    offsets.length,
    (second) => Math.abs(offsets[second] as number) >= LEAST_DC,
    2,
    SHORTEST_DC_SECONDS,
  )
  if (runs.length === 0) return []
  const places = runs
    .flatMap((run) => splitAtSteps(offsets, run))
    .map(([from, to]) => ({
      startFrame: evidence.frameOfHop(from * HOPS_PER_SECOND),
      endFrame: evidence.frameOfHop(to * HOPS_PER_SECOND),
    }))
  const worst = offsets.reduce((most, offset) => (Math.abs(offset) > Math.abs(most) ? offset : most), 0)
  const offsetDbfs = gainToDb(Math.abs(worst))
  return [
    {
      id: 'dc-offset',
      ...hull(places),
      channels: [role],
      severity: Math.abs(worst) >= BAD_DC ? 'warn' : 'note',
      count: places.length,
      places: places.slice(0, MOST_PLACES),
      figures: { offset: worst, offsetDbfs },
      message:
        `${role} carries DC of ${worst < 0 ? '\u2212' : '+'}${printFigure(100 * Math.abs(worst), 2)} % of full scale ` +
        `(${printFigure(offsetDbfs)} dBFS). High-pass it at a few hertz before it is edited: cuts would click.`,
      source: 'common practice',
    },
  ]
}

function secondMeans(evidence: ProgrammeEvidence, channel: number): number[] {
  const seconds = Math.floor(evidence.hopCount / HOPS_PER_SECOND)
  const frames = framesPerHop(evidence.sampleRateHz) * HOPS_PER_SECOND
  return Array.from({ length: seconds }, (_, second) => {
    const hops = [second * HOPS_PER_SECOND, (second + 1) * HOPS_PER_SECOND] as const
    return evidence.sum('sums', evidence.channelCount, channel, hops) / frames
  })
}

/** For each second the median of a window in which nearly all seconds, and this one, lie within half and twice of it. */
function steadyOffsets(means: readonly number[]): number[] {
  const offsets = new Array<number>(means.length).fill(0)
  const length = Math.min(DC_WINDOW_SECONDS, means.length)
  const enough = Math.min(LEAST_AGREEING, Math.ceil(0.8 * length))
  for (let first = 0; first + length <= means.length; first++) {
    const near = means.slice(first, first + length)
    const median = near.toSorted((a, b) => a - b)[length >> 1] as number
    const agrees = near.map((mean) => mean / median > 0.5 && mean / median < 2)
    if (Math.abs(median) < LEAST_DC || agrees.filter(Boolean).length < enough) continue
    agrees.forEach((agreeing, second) => {
      if (agreeing) offsets[first + second] = median
    })
  }
  return offsets
}

/** A run of seconds cut where the offset changes its sign or doubles or halves. */
function splitAtSteps(
  offsets: readonly number[],
  [from, to]: readonly [number, number],
): (readonly [number, number])[] {
  const parts: [number, number][] = []
  let level = 0
  for (let second = from; second < to; second++) {
    const offset = offsets[second] as number
    const last = parts.at(-1)
    const goesOn = offset === 0 || (offset / level > 0.5 && offset / level < 2)
    if (last !== undefined && goesOn) last[1] = second + 1
    else {
      parts.push([second, second + 1])
      level = offset
    }
  }
  return parts
}

const SHORTEST_SILENCE_SECONDS = 3

/** Stretches inside the programme where every sample of every channel is zero. */
export function judgeSilence(evidence: ProgrammeEvidence): Fault[] {
  const energies = evidence.series('energies')
  const isSilent = (hop: number) => {
    for (let channel = 0; channel < evidence.channelCount; channel++) {
      if (energies[hop * evidence.channelCount + channel] !== 0) return false
    }
    return true
  }
  const runs = runsOf(evidence.hopCount, isSilent, 0, SHORTEST_SILENCE_SECONDS * HOPS_PER_SECOND)
  const inside = runs.filter(([from, to]) => from > 0 && to < evidence.hopCount)
  return inside.map(([from, to]) => {
    const place = { startFrame: evidence.frameOfHop(from), endFrame: evidence.frameOfHop(to) }
    const durationSeconds = evidence.secondsOf(place.endFrame - place.startFrame)
    return {
      id: 'digital-silence',
      ...place,
      channels: evidence.roles,
      severity: 'note',
      count: 1,
      places: [place],
      figures: { durationSeconds },
      message:
        `All channels are digitally silent for ${printFigure(durationSeconds)} s. ` +
        'Inside a scene lay room tone there; between acts it is in order.',
      source: 'common practice',
    }
  })
}
