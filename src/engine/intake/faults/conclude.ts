import { type ChannelCondition, type Fault, type FaultReport, gainToDb } from '../../../domain/index.ts'
import type { Inspected } from '../detector.ts'
import type { FaultEvidence } from './evidence.ts'
import { judgeDc, judgeDead, judgeSilence, levelDbOf } from './judge-channels.ts'
import { findClickEvents, judgeClicks, judgeHeld, judgeHoles, judgeRepeats } from './judge-events.ts'
import { describeHole, findHoles, findLosses, type Hole } from './judge-gaps.ts'
import { judgeMonoSum, judgePolarity } from './judge-pairs.ts'
import { clippingOf, judgeBeyondFullScale, judgeClipping, judgeOvers, oversOf } from './judge-peaks.ts'
import { judgeBits, judgeNotFinite, usedBitsOf } from './judge-words.ts'
import { ProgrammeEvidence } from './programme.ts'

export function concludeFaults(segments: readonly FaultEvidence[], programme: Inspected): FaultReport {
  const evidence = new ProgrammeEvidence(segments, programme)
  const holes = withoutDoubles(findHoles(evidence), findLosses(evidence))
  const repeats = judgeRepeats(evidence)
  const held = judgeHeld(evidence)
  const edges = [...holes, ...[...repeats, ...held].flatMap(({ places }) => places)]
  const clicks = findClickEvents(evidence, edges)
  const clipping = evidence.roles.map((_, channel) => clippingOf(evidence, channel))
  const monoSum = judgeMonoSum(evidence)
  const perChannel = evidence.roles.flatMap((role, channel) => [
    ...judgeNotFinite(evidence, role, channel),
    ...judgeClipping(evidence, role, clipping[channel] ?? clippingOf(evidence, channel)),
    ...judgeBeyondFullScale(evidence, role, channel),
    ...judgeOvers(evidence, role, channel),
    ...judgeDc(evidence, role, channel),
  ])
  const faults: Fault[] = [
    ...perChannel,
    ...judgeHoles(holes, (hole) => describeHole(evidence, hole)),
    ...repeats,
    ...held,
    ...judgeClicks(clicks),
    ...judgeDead(evidence),
    ...judgePolarity(evidence),
    ...monoSum.faults,
    ...judgeBits(evidence),
    ...judgeSilence(evidence),
  ]
  const channels = evidence.roles.map((role, channel): ChannelCondition => {
    const peak = segments.reduce((highest, { levels }) => Math.max(highest, levels.peaks[channel] ?? 0), 0)
    const sum = evidence.sum('sums', evidence.channelCount, channel, [0, evidence.hopCount])
    return {
      role,
      samplePeakDbfs: peak > 0 ? gainToDb(peak) : null,
      levelDbfs: peak > 0 ? levelDbOf(evidence, channel) : null,
      dcOffset: sum / Math.max(1, evidence.frameCount),
      usedBits: usedBitsOf(evidence, channel),
      clippedRuns: clipping[channel]?.runs ?? 0,
      longestClippedRunFrames: clipping[channel]?.longestFrames ?? 0,
      interSampleOvers: oversOf(evidence, channel),
      clicks: clicks.filter((click) => click.channels.includes(role)).length,
    }
  })
  const layout = programme.layout
  return { layout, faults: faults.toSorted(byPlace), channels, monoSumDb: monoSum.wholeDb }
}

const SEVERITIES = ['fail', 'warn', 'note']

function byPlace(a: Fault, b: Fault): number {
  return SEVERITIES.indexOf(a.severity) - SEVERITIES.indexOf(b.severity) || a.startFrame - b.startFrame
}

/** A loss whose edges are sharp is found both ways; the one with exact frames stays. */
function withoutDoubles(holes: readonly Hole[], losses: readonly Hole[]): Hole[] {
  const isKnown = (loss: Hole) =>
    holes.some(
      (hole) =>
        hole.channels.some((role) => loss.channels.includes(role)) &&
        hole.startFrame < loss.endFrame &&
        loss.startFrame < hole.endFrame,
    )
  return [...holes, ...losses.filter((loss) => !isKnown(loss))].toSorted((a, b) => a.startFrame - b.startFrame)
}
