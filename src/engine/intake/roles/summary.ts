import { framesPerHop, type SpeechLane } from '../../../domain/index.ts'
import type { Inspected } from '../detector.ts'
import type { RolesEvidence } from './evidence.ts'

/** A segment in which a channel stays below this mean level (-70 dBFS) says nothing of it. */
const QUIET_POWER = 1e-7
/** A lag is seen in a segment where the phases agree this well ... */
const LEAST_PEAK = 0.12
/** ... and is one over the programme where so many frames apart. */
const SAME_LAG_FRAMES = 2
/** Share of a window's hops that must be speech, or none, for the window to count. */
const SPEAKING_SHARE = 0.8
const FEWEST_WINDOWS = 12

export type PairSummary = {
  /** Correlation at lag 0 over the whole programme, -1..1. */
  readonly correlation: number
  /** Mean coherence of the segments where both sound; null where none is. */
  readonly coherence: number | null
  /** Mean in-phase part of the coherence of those segments, -1..1. */
  readonly inPhase: number
  /** The delay that most segments show, in frames, by how many of them (0..1), and how clearly (-1..1). */
  readonly lag: { readonly frames: number; readonly share: number; readonly peak: number } | null
}

/** What the segments say together. */
export type RolesSummary = {
  readonly channelCount: number
  /** Mean squares. */
  readonly powers: readonly number[]
  readonly highShares: readonly number[]
  pair(a: number, b: number): PairSummary
  /** The coherences of two pairs of pairs, segment by segment, where all four channels sound. */
  coherences(pairs: readonly (readonly [number, number])[]): readonly (readonly number[])[]
  readonly derivedShares: readonly (number | null)[]
  /** How much louder each channel's speech band is while there is speech, dB; null without a speech lane. */
  readonly speechRiseDb: readonly number[] | null
  /** Mean step of the speech band's level from window to window, dB: speech moves more than music. */
  readonly livelinessDb: readonly number[]
}

export function summarise(evidence: readonly RolesEvidence[], programme: Inspected): RolesSummary {
  const channelCount = evidence[0]?.energies.length ?? 0
  const frames = evidence.reduce((sum, segment) => sum + segment.frameCount, 0)
  const channels = Array.from({ length: channelCount }, (_, channel) => channel)
  const energies = channels.map((channel) => evidence.reduce((sum, segment) => sum + segment.energies[channel]!, 0))
  const sounds = (segment: RolesEvidence, channel: number) =>
    segment.energies[channel]! > QUIET_POWER * segment.frameCount
  const find = (segment: RolesEvidence, a: number, b: number) =>
    segment.pairs.find((pair) => pair.a === Math.min(a, b) && pair.b === Math.max(a, b))!
  return {
    channelCount,
    powers: energies.map((energy) => energy / Math.max(1, frames)),
    highShares: channels.map(
      (channel) =>
        evidence.reduce((sum, s) => sum + s.highShares[channel]! * s.energies[channel]!, 0) /
        Math.max(1e-30, energies[channel]!),
    ),
    pair(a, b) {
      const both = evidence.filter((segment) => sounds(segment, a) && sounds(segment, b))
      const found = both.map((segment) => find(segment, a, b))
      const product = evidence.reduce((sum, segment) => sum + find(segment, a, b).product, 0)
      return {
        correlation: product / Math.sqrt(Math.max(1e-30, energies[a]! * energies[b]!)),
        coherence: found.length === 0 ? null : found.reduce((sum, pair) => sum + pair.coherence, 0) / found.length,
        inPhase: found.reduce((sum, pair) => sum + pair.inPhase, 0) / Math.max(1, found.length),
        lag: commonLag(found.map(({ lagFrames, peak }) => ({ frames: a < b ? lagFrames : -lagFrames, peak }))),
      }
    },
    coherences(pairs) {
      const all = [...new Set(pairs.flat())]
      return evidence
        .filter((segment) => all.every((channel) => sounds(segment, channel)))
        .map((segment) => pairs.map(([a, b]) => find(segment, a, b).coherence))
    },
    derivedShares: channels.map((channel) => {
      const own = evidence.filter((segment) => sounds(segment, channel))
      const weights = own.flatMap((segment) => {
        const share = segment.derived.find((derived) => derived.channel === channel)?.share
        return share === undefined ? [] : [share]
      })
      return weights.length === 0 ? null : weights.reduce((sum, share) => sum + share, 0) / weights.length
    }),
    speechRiseDb: programme.speech === null ? null : speechRise(evidence, programme.speech, programme.sampleRateHz),
    livelinessDb: channels.map((channel) => liveliness(evidence, channel)),
  }
}

function commonLag(lags: readonly { readonly frames: number; readonly peak: number }[]): PairSummary['lag'] {
  const clear = lags.filter(({ peak }) => Math.abs(peak) >= LEAST_PEAK)
  if (clear.length === 0) return null
  const near = (frames: number) => clear.filter((lag) => Math.abs(lag.frames - frames) <= SAME_LAG_FRAMES)
  const best = clear.toSorted((a, b) => near(b.frames).length - near(a.frames).length)[0]!
  const same = near(best.frames)
  return {
    frames: best.frames,
    share: same.length / lags.length,
    peak: same.reduce((sum, { peak }) => sum + peak, 0) / same.length,
  }
}

/** Levels in steps of half a dB, one window after the other, of one channel of a segment. */
function levelsOf(segment: RolesEvidence, channel: number): Uint8Array {
  const windowCount = segment.speechBand.length / segment.energies.length
  return segment.speechBand.subarray(channel * windowCount, (channel + 1) * windowCount)
}

function liveliness(evidence: readonly RolesEvidence[], channel: number): number {
  let sum = 0
  let count = 0
  for (const segment of evidence) {
    const levels = levelsOf(segment, channel)
    for (let window = 1; window < levels.length; window++) {
      if (Math.max(levels[window]!, levels[window - 1]!) < AUDIBLE_CODE) continue
      sum += Math.min(LARGEST_STEP, Math.abs(levels[window]! - levels[window - 1]!) / 2)
      count++
    }
  }
  return count < FEWEST_WINDOWS ? 0 : sum / count
}

/** -70 dBFS in the speech band, and the largest step that one window counts for. */
const AUDIBLE_CODE = 100
const LARGEST_STEP = 15

function speechRise(evidence: readonly RolesEvidence[], speech: SpeechLane, sampleRateHz: number): number[] | null {
  const hop = framesPerHop(sampleRateHz)
  const channelCount = evidence[0]?.energies.length ?? 0
  const sums = { speaking: new Float64Array(channelCount), silent: new Float64Array(channelCount) }
  const counts = { speaking: 0, silent: 0 }
  let start = 0
  for (const segment of evidence) {
    const windowCount = segment.speechBand.length / channelCount
    for (let window = 0; window < windowCount; window++) {
      const from = start + window * segment.windowFrames
      const hops = speech.isSpeech100ms.subarray(Math.floor(from / hop), Math.ceil((from + segment.windowFrames) / hop))
      const share = hops.reduce((sum, is) => sum + is, 0) / Math.max(1, hops.length)
      const kind = share >= SPEAKING_SHARE ? 'speaking' : share === 0 ? 'silent' : null
      if (kind === null) continue
      counts[kind]++
      for (let channel = 0; channel < channelCount; channel++) {
        sums[kind][channel]! += levelsOf(segment, channel)[window]! / 2
      }
    }
    start += segment.frameCount
  }
  if (counts.speaking < FEWEST_WINDOWS || counts.silent < FEWEST_WINDOWS) return null
  return Array.from(sums.speaking, (sum, channel) => sum / counts.speaking - sums.silent[channel]! / counts.silent)
}
