import type { TwoTrackKind, TwoTrackReport, TwoTrackStretch } from '../../../domain/index.ts'
import type { Inspected } from '../detector.ts'
import { findAzimuth } from './azimuth.ts'
import type { TwoTrackEvidence } from './evidence.ts'
import { measureHiss } from './hiss.ts'
import { rounded } from './numbers.ts'
import { joinEvidence } from './programme.ts'
import { cutIntoRuns } from './runs.ts'
import { adviceFor } from './sentences.ts'
import { stretchOf } from './stretches.ts'
import { describeRun } from './timecode.ts'

/** Says what two tracks are to each other, along time and in all. */
export function concludeTwoTrack(evidence: readonly TwoTrackEvidence[], programme: Inspected): TwoTrackReport {
  const { sampleRateHz, frameCount } = programme
  const joined = joinEvidence(evidence, sampleRateHz)
  const runs = cutIntoRuns(joined)
  const stretches = joinEqual(runs.map((run) => stretchOf(joined, run, sampleRateHz, frameCount)))
  const azimuth = findAzimuth(joined, runs, sampleRateHz, frameCount)
  return {
    ...answer(stretches),
    advice: [...adviceFor(stretches), ...azimuthAdvice(azimuth)],
    stretches,
    azimuth,
    hiss: measureHiss(joined),
    timecode: joined.labels.map(describeRun),
  }
}

/** Lags that differ are different stretches; everything else of one kind is one. */
function joinEqual(stretches: readonly TwoTrackStretch[]): TwoTrackStretch[] {
  const joined: TwoTrackStretch[] = []
  for (const stretch of stretches) {
    const last = joined.at(-1)
    const isSame =
      last !== undefined &&
      last.kind === stretch.kind &&
      last.side === stretch.side &&
      last.isInverted === stretch.isInverted &&
      Math.abs((last.figures.lagFrames ?? 0) - (stretch.figures.lagFrames ?? 0)) < 1
    if (!isSame) joined.push(stretch)
    else if (last.endFrame - last.startFrame >= stretch.endFrame - stretch.startFrame) {
      joined[joined.length - 1] = { ...last, endFrame: stretch.endFrame }
    } else joined[joined.length - 1] = { ...stretch, startFrame: last.startFrame }
  }
  return joined
}

/** A kind that fills this much of what sounds is the kind of the programme. */
const MOST = 0.9

function answer(stretches: readonly TwoTrackStretch[]): Pick<TwoTrackReport, 'kind' | 'confidence' | 'evidence'> {
  const sounding = stretches.filter(({ kind }) => kind !== 'silent')
  if (sounding.length === 0) {
    return { kind: 'silent', confidence: 1, evidence: ['Nothing sounds on either track.'] }
  }
  const lengths = new Map<TwoTrackKind, number>()
  for (const stretch of sounding) lengths.set(stretch.kind, (lengths.get(stretch.kind) ?? 0) + lengthOf(stretch))
  const total = sounding.reduce((sum, stretch) => sum + lengthOf(stretch), 0)
  const ordered = [...lengths].toSorted((a, b) => b[1] - a[1])
  const confidence = sounding.reduce((sum, each) => sum + each.confidence * lengthOf(each), 0) / total
  const [kind, length] = ordered[0]!
  if (length >= MOST * total) {
    const longest = sounding.filter((each) => each.kind === kind).toSorted((a, b) => lengthOf(b) - lengthOf(a))[0]!
    return { kind, confidence: rounded(confidence, 2), evidence: longest.evidence }
  }
  const shares = ordered.map(([each, frames]) => `${each} ${Math.round((100 * frames) / total)} %`)
  return {
    kind: 'mixed',
    confidence: rounded(confidence, 2),
    evidence: [`The programme changes: ${shares.join(', ')}.`],
  }
}

function lengthOf({ startFrame, endFrame }: TwoTrackStretch): number {
  return endFrame - startFrame
}

/** From 5 us on the middle loses 0.3 dB at 16 kHz. */
const WORTH_ALIGNING_MICROSECONDS = 5

function azimuthAdvice(azimuth: TwoTrackReport['azimuth']): string[] {
  if (azimuth === null) return []
  const worst = Math.max(Math.abs(azimuth.leastMicroseconds), Math.abs(azimuth.mostMicroseconds))
  return worst < WORTH_ALIGNING_MICROSECONDS
    ? []
    : ['Align the tracks along the azimuth curve before a centre is made from them.']
}
