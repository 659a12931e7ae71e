import {
  type Fault,
  type FaultId,
  type FrameRange,
  framesPerHop,
  gainToDb,
  HOPS_PER_SEGMENT,
  printFigure,
  type Role,
  type Severity,
} from '../../../domain/index.ts'
import type { Click } from './evidence.ts'
import type { Hole } from './judge-gaps.ts'
import { hull, inOrder, MOST_PLACES } from './judge-peaks.ts'
import type { ProgrammeEvidence } from './programme.ts'

/** An event of one instant, in the channels that have it. `size` ranks it. */
type Event = FrameRange & {
  channels: readonly Role[]
  readonly size: number
  readonly blockFrames?: number
  readonly prominence?: number
}

/** Events of several channels at one instant are one. */
const SAME_INSTANT_SECONDS = 0.001
/** More of one kind than this are told as one finding with the worst places. */
const MOST_SINGLE = 12
/** A click this close to a hole, a repeat or a held run is its edge. */
const EDGE_SECONDS = 0.03

export function judgeRepeats(evidence: ProgrammeEvidence): Fault[] {
  const events = gather(evidence, (channel) =>
    channel.repeats.map((repeat) => ({ ...repeat, size: repeat.blockFrames })),
  )
  return tell(events, {
    id: 'repeat',
    severity: 'fail',
    figures: (event) => ({ blockFrames: event.blockFrames ?? 0, repeatedFrames: event.endFrame - event.startFrame }),
    one: (who, event) => `${who}: ${event.blockFrames} samples are played twice or more`,
    many: (who, count) => `${who}: blocks of samples are played twice or more at ${count} places`,
    remedy: 'A buffer was repeated in the transfer; transfer again, or take the place from another copy.',
  })
}

export function judgeHeld(evidence: ProgrammeEvidence): Fault[] {
  const events = gather(evidence, (channel) => {
    return channel.held.places.map((place) => ({ ...place, size: place.endFrame - place.startFrame }))
  })
  const faults = tell(events, {
    id: 'held-samples',
    severity: 'fail',
    figures: (event) => ({ heldFrames: event.endFrame - event.startFrame }),
    one: (who, event) => `${who}: one sample is held for ${event.endFrame - event.startFrame} samples`,
    many: (who, count) => `${who}: single samples are held at ${count} places`,
    remedy: 'The converter or the transfer lost samples there; transfer again, or take the place from another copy.',
  })
  return [...faults, ...judgeDoubled(evidence)]
}

/** Half of the programme with every sample twice is a matter of its making, not of a place. */
function judgeDoubled(evidence: ProgrammeEvidence): Fault[] {
  const doubled = evidence.roles.filter((_, channel) => {
    const frames = evidence.segments.reduce((sum, { channels }) => sum + (channels[channel]?.doubledFrames ?? 0), 0)
    return frames > evidence.frameCount / 2
  })
  if (doubled.length === 0) return []
  const whole = { startFrame: 0, endFrame: evidence.frameCount }
  return [
    {
      id: 'held-samples',
      ...whole,
      channels: doubled,
      severity: 'warn',
      count: 1,
      places: [whole],
      figures: { heldFrames: 2 },
      message:
        `${doubled.join(', ')}: every sample stands twice. The sound was raised from half the rate without a filter ` +
        'and carries mirror images; ask for the original and convert it properly.',
      source: 'common practice',
    },
  ]
}

/** Clicks that are no edge of another fault. */
export function findClickEvents(evidence: ProgrammeEvidence, edges: readonly FrameRange[]): Event[] {
  const near = EDGE_SECONDS * evidence.sampleRateHz
  const isEdge = ({ startFrame }: Click) =>
    edges.some((edge) => startFrame > edge.startFrame - near && startFrame < edge.endFrame + near)
  return gather(evidence, (channel) =>
    channel.clicks.filter((click) => !isEdge(click)).map((click) => ({ ...click, size: click.height })),
  )
}

export function judgeClicks(events: readonly Event[]): Fault[] {
  return tell(events, {
    id: 'click',
    severity: 'warn',
    figures: (event) => ({
      heightDbfs: gainToDb(event.size),
      widthFrames: event.endFrame - event.startFrame,
      prominenceDb: gainToDb(event.prominence ?? 1),
    }),
    one: (who, event) => `${who}: a click of ${printFigure(gainToDb(event.size))} dBFS, ${width(event)}`,
    many: (who, count) => `${who}: clicks of a few samples at ${count} places`,
    remedy: 'Listen, and draw the samples anew.',
  })
}

function width({ startFrame, endFrame }: FrameRange): string {
  return endFrame - startFrame === 1 ? 'one sample wide' : `${endFrame - startFrame} samples wide`
}

export function judgeHoles(holes: readonly Hole[], describe: (hole: Hole) => Fault): Fault[] {
  const dropouts = holes.filter(({ kind }) => kind === 'dropout')
  const losses = holes.filter(({ kind }) => kind === 'intermittent-channel').map(describe)
  if (dropouts.length <= MOST_SINGLE) return [...dropouts.map(describe), ...losses]
  const events = dropouts.map((hole) => ({ ...hole, size: hole.endFrame - hole.startFrame }))
  const joined = tell(events, {
    id: 'dropout',
    severity: 'fail',
    figures: (event) => ({ longestFrames: event.size }),
    one: (who) => who,
    many: (who, count) => `${who}: the sound drops out at ${count} places`,
    remedy: 'Compare with another copy; ask for a new transfer.',
  })
  return [...joined, ...losses]
}

function gather(
  evidence: ProgrammeEvidence,
  pick: (channel: ProgrammeEvidence['segments'][number]['channels'][number]) => readonly Omit<Event, 'channels'>[],
): Event[] {
  const near = SAME_INSTANT_SECONDS * evidence.sampleRateHz
  const events: Event[] = []
  const segmentFrames = framesPerHop(evidence.sampleRateHz) * HOPS_PER_SEGMENT
  evidence.roles.forEach((role, channel) => {
    for (const segment of evidence.segments) {
      const own = segment.channels[channel]
      for (const found of own === undefined ? [] : pick(own)) {
        const known = events.findLast(
          ({ startFrame }) =>
            Math.abs(startFrame - found.startFrame) <= near &&
            Math.abs(startFrame - segment.firstFrame) <= segmentFrames,
        )
        if (known === undefined) events.push({ ...found, channels: [role] })
        else if (!known.channels.includes(role)) known.channels = [...known.channels, role]
      }
    }
  })
  return events.toSorted((a, b) => a.startFrame - b.startFrame)
}

type Telling = {
  readonly id: FaultId
  readonly severity: Severity
  figures(event: Event): Record<string, number>
  one(who: string, event: Event): string
  many(who: string, count: number): string
  readonly remedy: string
}

/** Few events are told one by one; many of the same channels as one finding with the largest of them as places. */
function tell(events: readonly Event[], telling: Telling): Fault[] {
  if (events.length <= MOST_SINGLE) return events.map((event) => describe([event], telling))
  const groups = new Map<string, Event[]>()
  for (const event of events)
    groups.set(event.channels.join(', '), [...(groups.get(event.channels.join(', ')) ?? []), event])
  return [...groups.values()].map((group) => describe(group, telling))
}

function describe(events: readonly Event[], telling: Telling): Fault {
  const largest = events.toSorted((a, b) => b.size - a.size)
  const worst = largest[0] as Event
  const places = inOrder(largest.slice(0, MOST_PLACES))
  const who = worst.channels.join(', ')
  const what = events.length === 1 ? telling.one(who, worst) : telling.many(who, events.length)
  return {
    id: telling.id,
    ...hull(events),
    channels: worst.channels,
    severity: telling.severity,
    count: events.length,
    places,
    figures: telling.figures(worst),
    message: `${what}. ${telling.remedy}`,
    source: 'common practice',
  }
}
