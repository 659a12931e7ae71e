import {
  type FrameRange,
  gatePower,
  gatingBlocks,
  HOPS_PER_GATING_BLOCK,
  LAYOUTS,
  type Passage,
} from '../../../domain/index.ts'
import { figuresUnder, type Programme, trimOn } from './programme.ts'

/** What is found before it is described and ranked. */
export type Found = FrameRange &
  Pick<
    Passage,
    | 'kind'
    | 'line'
    | 'peakFrame'
    | 'measured'
    | 'allowed'
    | 'unit'
    | 'excess'
    | 'source'
    | 'suggestedTrimDb'
    | 'message'
  > & {
    /** Tried for the effect where no trim is suggested. */
    readonly triedTrimDb?: number
  }

/** What is said of every passage: who carries it, whether there is dialogue, and what a trim does to the total. */
export function describePassage(programme: Programme, found: Found): Omit<Passage, 'rank'> {
  const { triedTrimDb, ...passage } = found
  return {
    ...passage,
    carriedBy: carriedBy(programme, found),
    dialogueShare: dialogueShare(programme, found),
    effect: effectOf(programme, found, found.suggestedTrimDb ?? triedTrimDb ?? null),
    marginalLuPerDb: marginalEffect(programme, found),
  }
}

/** What a trim on a range does to the programme loudness; null without a trim or where nothing can be measured. */
export function effectOf(programme: Programme, range: FrameRange, gainDb: number | null): Passage['effect'] {
  const before = programme.asItIs.programmeLoudnessLkfs
  if (gainDb === null || before === null) return null
  const after = figuresUnder(programme, [trimOn(range, gainDb)]).programmeLoudnessLkfs
  if (after === null) return null
  return {
    programmeLoudnessBeforeLkfs: before,
    programmeLoudnessAfterLkfs: after,
    changeLu: after - before,
  }
}

/** Hops [first, end) of each part whose centre lies in a range. */
function hopsWithin({ pieces, hopFrames }: Programme, { startFrame, endFrame }: FrameRange) {
  return pieces.map((part) => {
    const hopAt = (frame: number) =>
      Math.max(0, Math.min(part.hops.length, Math.ceil((frame - part.startFrame) / hopFrames - 0.5)))
    const first = hopAt(startFrame)
    return { part, first, end: Math.max(first, hopAt(endFrame)) }
  })
}

function carriedBy(programme: Programme, range: FrameRange): Passage['carriedBy'] {
  const roles = LAYOUTS[programme.measurements.layout]
  const sums = roles.map(() => 0)
  for (const { part, first, end } of hopsWithin(programme, range)) {
    for (let i = first * roles.length; i < end * roles.length; i++) {
      sums[i % roles.length] = (sums[i % roles.length] as number) + (part.measured.channels100ms[i] ?? 0)
    }
  }
  const total = sums.reduce((sum, energy) => sum + energy, 0)
  if (total === 0) return roles.map((role) => ({ role, share: 1 / roles.length }))
  return roles
    .map((role, channel) => ({ role, share: (sums[channel] as number) / total }))
    .toSorted((a, b) => b.share - a.share)
}

function dialogueShare(programme: Programme, range: FrameRange): number | null {
  let [marked, count] = [0, 0]
  for (const { part, first, end } of hopsWithin(programme, range)) {
    if (part.isSpeech === null) return null
    for (let hop = first; hop < end; hop++) marked += part.isSpeech[hop] ?? 0
    count += end - first
  }
  return count === 0 ? 0 : marked / count
}

/**
 * Share of the energy that counts in the total which lies in a range: the change of the total per dB of a small trim
 * there while the gate holds still. Null where nothing counts.
 */
function marginalEffect(programme: Programme, range: FrameRange): number | null {
  const blocks = programme.pieces.map(({ hops }) => gatingBlocks(hops))
  const gate = gatePower(blocks)
  if (gate === null) return null
  let [inside, all] = [0, 0]
  for (const [index, { part, first, end }] of hopsWithin(programme, range).entries()) {
    for (const [block, power] of (blocks[index] as Float64Array).entries()) {
      if (power <= gate) continue
      all += power * HOPS_PER_GATING_BLOCK
      for (let hop = Math.max(first, block); hop < Math.min(end, block + HOPS_PER_GATING_BLOCK); hop++) {
        inside += part.hops[hop] as number
      }
    }
  }
  return all === 0 ? null : inside / all
}
