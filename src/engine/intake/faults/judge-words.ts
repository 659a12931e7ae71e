import { BYTES_PER_SAMPLE, type Fault, type FrameRange, printFigure, type Role } from '../../../domain/index.ts'
import { OFF_GRID } from './evidence.ts'
import { hull, inOrder, MOST_PLACES } from './judge-peaks.ts'
import type { ProgrammeEvidence } from './programme.ts'

/** Four empty bits or more are a history; one or two are a gain of 6 or 12 dB. */
const LEAST_UNUSED_BITS = 4
/** A change of bit depth counts if it lasts this long. */
const SHORTEST_SECONDS = 10

type Stretch = FrameRange & { readonly usedBits: number }

/** The most bits that a channel uses anywhere; null in silence and off every grid. */
export function usedBitsOf(evidence: ProgrammeEvidence, channel: number): number | null {
  let most = 0
  for (const { words } of evidence.segments) {
    for (let window = 0; window < words.windowCount; window++) {
      most = Math.max(most, words.usedBits[window * evidence.channelCount + channel] as number)
    }
  }
  return most === 0 || most === OFF_GRID ? null : most
}

/** Stretches in which the words of a channel are wider than what they hold. */
export function judgeBits(evidence: ProgrammeEvidence): Fault[] {
  const encoding = evidence.segments[0]?.encoding
  if (encoding === undefined) return []
  const isFloat = encoding.startsWith('float')
  const wordBits = isFloat ? 32 : 8 * BYTES_PER_SAMPLE[encoding]
  const groups = new Map<string, { stretches: Stretch[]; channels: Role[] }>()
  evidence.roles.forEach((role, channel) => {
    const stretches = steadyStretches(evidence, channel).filter(
      ({ usedBits }) => usedBits !== OFF_GRID && wordBits - usedBits >= LEAST_UNUSED_BITS,
    )
    for (const usedBits of new Set(stretches.map((stretch) => stretch.usedBits))) {
      const own = stretches.filter((stretch) => stretch.usedBits === usedBits)
      const key = JSON.stringify(own)
      const group = groups.get(key) ?? { stretches: own, channels: [] }
      groups.set(key, { ...group, channels: [...group.channels, role] })
    }
  })
  return [...groups.values()].map(({ stretches, channels }) => describeBits(stretches, channels, wordBits, isFloat))
}

function describeBits(stretches: Stretch[], channels: readonly Role[], wordBits: number, isFloat: boolean): Fault {
  const usedBits = (stretches[0] as Stretch).usedBits
  const words = isFloat ? 'floating-point words' : `${wordBits}-bit words`
  return {
    id: 'unused-bits',
    ...hull(stretches),
    channels,
    severity: 'note',
    count: stretches.length,
    places: inOrder(stretches).slice(0, MOST_PLACES),
    figures: { usedBits, wordBits },
    message:
      `The ${words} of ${channels.join(', ')} hold ${usedBits}-bit sound. ` +
      'It was made or stored with fewer bits; ask for the original if that was not meant.',
    source: 'common practice: the lowest bit that is ever set',
  }
}

/** The channel cut into stretches of one bit depth; silence belongs to what stands before it. */
function steadyStretches(evidence: ProgrammeEvidence, channel: number): Stretch[] {
  const stretches: { startFrame: number; endFrame: number; usedBits: number }[] = []
  for (const { words, firstFrame, frameCount } of evidence.segments) {
    for (let window = 0; window < words.windowCount; window++) {
      const usedBits = words.usedBits[window * evidence.channelCount + channel] as number
      const startFrame = firstFrame + window * evidence.sampleRateHz
      const endFrame = Math.min(firstFrame + frameCount, startFrame + evidence.sampleRateHz)
      const last = stretches.at(-1)
      if (last !== undefined && (usedBits === 0 || usedBits === last.usedBits)) last.endFrame = endFrame
      else if (usedBits !== 0) stretches.push({ startFrame, endFrame, usedBits })
    }
  }
  const isWhole = stretches.length === 1
  const shortest = SHORTEST_SECONDS * evidence.sampleRateHz
  return stretches.filter(({ startFrame, endFrame }) => isWhole || endFrame - startFrame >= shortest)
}

/** NaN and infinite samples, which no converter can play. */
export function judgeNotFinite(evidence: ProgrammeEvidence, role: Role, channel: number): Fault[] {
  const found = evidence.segments.map(({ words }) => words.notFinite[channel])
  const count = found.reduce((sum, broken) => sum + (broken?.count ?? 0), 0)
  if (count === 0) return []
  const places = found.flatMap((broken) => broken?.places ?? []).slice(0, MOST_PLACES)
  return [
    {
      id: 'not-finite',
      ...hull(places),
      channels: [role],
      severity: 'fail',
      count,
      places,
      figures: { samples: count },
      message:
        `${role} has ${printFigure(count, 0)} ${count === 1 ? 'sample that is' : 'samples that are'} no number. ` +
        `Here ${count === 1 ? 'it is' : 'they are'} taken as silence; find the process behind it and render again.`,
      source: 'IEEE 754: NaN and infinity',
    },
  ]
}
