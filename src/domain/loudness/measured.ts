import { gainToDb } from '../elementary.ts'
import { assert } from '../findings.ts'
import { framesPerHop } from '../grid.ts'
import { LAYOUTS } from '../layout.ts'
import type { ChannelPeaks, LoudnessFigures, Measured, Measurements, Peak } from '../measurements.ts'
import { bandLevels } from './band-levels.ts'
import { jointLoudness } from './gate.ts'
import { lfeFigures } from './lfe-levels.ts'
import { jointLoudnessRange } from './range.ts'
import { concatenated, type LoudestWindow, loudestMomentary, loudestShortTerm, toHops } from './windows.ts'

/** Joins what was measured of the segments of one programme, in their order; all but the last are whole 100 ms long. */
export function joinMeasured(parts: readonly Measured[]): Measured {
  const [first] = parts
  assert(first !== undefined, 'a programme has at least one segment')
  const { sampleRateHz, layout } = first
  for (const [index, part] of parts.entries()) {
    assert(part.sampleRateHz === sampleRateHz && part.layout === layout, 'segments of one programme are alike')
    const isWhole = part.frameCount % framesPerHop(sampleRateHz) === 0
    assert(isWhole || index === parts.length - 1, 'only the last segment ends inside a hop')
  }
  return {
    sampleRateHz,
    layout,
    frameCount: parts.reduce((sum, part) => sum + part.frameCount, 0),
    programme10ms: concatenated(parts.map((part) => part.programme10ms)),
    foldDown10ms: joinedIfAny(parts.map((part) => part.foldDown10ms)),
    channels100ms: concatenated(parts.map((part) => part.channels100ms)),
    linkedPeak100ms: concatenated(parts.map((part) => part.linkedPeak100ms)),
    lfePeak100ms: joinedIfAny(parts.map((part) => part.lfePeak100ms)),
    truePeak100ms: joinedPeaksIfAny(parts.map((part) => part.truePeak100ms)),
    foldDownTruePeak100ms: joinedPeaksIfAny(parts.map((part) => part.foldDownTruePeak100ms)),
    channels: first.channels.map((_, channel) => highestPeaks(parts.map((part) => part.channels[channel]))),
    foldDown:
      first.foldDown === null
        ? null
        : [
            highestPeaks(parts.map((part) => part.foldDown?.[0])),
            highestPeaks(parts.map((part) => part.foldDown?.[1])),
          ],
    nonFiniteSampleCount: parts.reduce((sum, part) => sum + part.nonFiniteSampleCount, 0),
  }
}

/** A decoded 5.1 with the master, which it encodes to again, in the place of its Lo/Ro fold-down. */
export function besideMaster(decoded: Measured, master: Measured): Measured {
  assert(decoded.frameCount === master.frameCount, 'the 5.1 is as long as its master')
  const [left, right] = master.channels
  assert(left !== undefined && right !== undefined, 'the master has two tracks')
  return {
    ...decoded,
    foldDown10ms: master.programme10ms,
    foldDown: [left, right],
    linkedPeak100ms: decoded.linkedPeak100ms.map((peak, hop) => Math.max(peak, master.linkedPeak100ms[hop] as number)),
  }
}

/** The figures of a signal, of which several stretches are one programme. */
export function loudnessOfParts(parts: readonly Measured[]): LoudnessFigures {
  const channels = parts.flatMap((part) => part.channels)
  return loudnessFigures(
    parts.map((part) => part.programme10ms),
    channels,
  )
}

/** Every figure that a file's measurements print; see `withDialogue` for dialogue. Lt/Rt and mono stay null: they are measured apart. */
export function describeMeasured(measured: Measured): Measurements {
  return describeParts([measured], measured.frameCount)
}

/**
 * The same of several stretches that are one programme: one gate over all their blocks, the range and the maxima over
 * all their windows. `frameCount` is that of the file or files, whatever share of it was measured.
 */
export function describeParts(parts: readonly Measured[], frameCount: number): Measurements {
  const [first] = parts
  assert(first !== undefined, 'a programme has at least one part')
  const { layout, sampleRateHz } = first
  const channels = first.channels.map((_, channel) => highestPeaks(parts.map((part) => part.channels[channel])))
  const foldDown = parts.flatMap((part) => part.foldDown ?? [])
  const foldDown10ms = parts.flatMap((part) => part.foldDown10ms ?? [])
  const figures = loudnessOfParts(parts)
  return {
    layout,
    sampleRateHz,
    frameCount,
    durationSeconds: frameCount / sampleRateHz,
    ...figures,
    dialogueLoudnessLkfs: null,
    dialogueShare: null,
    dialogue: null,
    lfe: lfeFigures(parts),
    bandLevels: bandLevels(parts, figures.programmeLoudnessLkfs),
    channels: LAYOUTS[layout].map((role, channel) => ({ role, ...peakFigures(channels.slice(channel, channel + 1)) })),
    foldDown: {
      loRo:
        foldDown.length === 0 || foldDown10ms.length === 0
          ? null
          : { ...loudnessFigures(foldDown10ms, foldDown), dialogueLoudnessLkfs: null },
      ltRt: null,
      mono: null,
    },
  }
}

function loudnessFigures(parts10ms: readonly Float64Array[], channels: readonly ChannelPeaks[]): LoudnessFigures {
  const parts100ms = parts10ms.map(toHops)
  return {
    programmeLoudnessLkfs: jointLoudness(parts100ms),
    loudnessRangeLu: jointLoudnessRange(parts100ms),
    maxMomentaryLkfs: loudestOf(parts10ms.map((powers) => loudestMomentary(powers))),
    maxShortTermLkfs: loudestOf(parts10ms.map((powers) => loudestShortTerm(powers))),
    ...peakFigures(channels),
  }
}

function loudestOf(windows: readonly (LoudestWindow | null)[]): number | null {
  const found = windows.flatMap((window) => window?.loudnessLkfs ?? [])
  return found.length === 0 ? null : Math.max(...found)
}

function peakFigures(channels: readonly ChannelPeaks[]): Pick<LoudnessFigures, 'maxTruePeakDbtp' | 'samplePeakDbfs'> {
  const level = (peaks: readonly Peak[]) => {
    const { value } = highest(peaks)
    return value > 0 ? gainToDb(value) : null
  }
  return {
    maxTruePeakDbtp: level(channels.map((channel) => channel.truePeak)),
    samplePeakDbfs: level(channels.map((channel) => channel.samplePeak)),
  }
}

function joinedIfAny(parts: readonly (Float64Array | null)[]): Float64Array | null {
  const present = parts.filter((part) => part !== null)
  return present.length === 0 ? null : concatenated(present)
}

function joinedPeaksIfAny(parts: readonly (Float32Array | null)[]): Float32Array | null {
  const present = parts.filter((part) => part !== null)
  if (present.length < parts.length) return null
  const whole = new Float32Array(present.reduce((sum, part) => sum + part.length, 0))
  let next = 0
  for (const part of present) {
    whole.set(part, next)
    next += part.length
  }
  return whole
}

function highestPeaks(parts: readonly (ChannelPeaks | undefined)[]): ChannelPeaks {
  const present = parts.filter((part) => part !== undefined)
  assert(present.length === parts.length, 'segments of one programme are alike')
  return {
    samplePeak: highest(present.map((part) => part.samplePeak)),
    truePeak: highest(present.map((part) => part.truePeak)),
  }
}

/** The highest peak; of equal ones the first. */
function highest(peaks: readonly Peak[]): Peak {
  return peaks.reduce((kept, peak) => (peak.value > kept.value ? peak : kept))
}
