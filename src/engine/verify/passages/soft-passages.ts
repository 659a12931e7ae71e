import {
  type Clause,
  HOPS_PER_SECOND,
  loudnessOf,
  powerOf,
  printFigure,
  SHORT_TERM_SECONDS,
  type Trim,
  windowMeans,
} from '../../../domain/index.ts'
import type { Found } from './describe.ts'
import { hopsUnder, type Part, type Programme, voiceHopsUnder } from './programme.ts'

/** Speech is too soft when short-term loudness stays this far below the target for this long. */
const BELOW_TARGET_LU = 8
const SOFT_SECONDS = 3
/** A line of dialogue is too soft when it lies this far below the programme's dialogue. */
const BELOW_DIALOGUE_LU = 5
/** Where the lines lie closer together, one stands out sooner: at so many of their deviations, but not above this. */
const LEAST_BELOW_DIALOGUE_LU = 4
const DEVIATIONS = 6
const DEVIATION_OVER_MEDIAN = 1.4826

const PRACTICE: Clause = {
  document: 'common practice',
  edition: '2026',
  clause: "dialogue within 5 LU of the programme's dialogue level, short-term within 8 LU of the target",
  basis: 'common practice',
}

/** Pauses shorter than this do not end a line. */
const PAUSE_HOPS = 0.3 * HOPS_PER_SECOND
const SHORTEST_LINE_HOPS = 0.6 * HOPS_PER_SECOND
/** What is heard this far before and after a line is its background. */
const BACKGROUND_HOPS = 2 * HOPS_PER_SECOND
/** At least this share of a line's energy is taken to be the voice, however loud the background. */
const LEAST_VOICE_SHARE = 0.1
const SHORT_TERM_HOPS = SHORT_TERM_SECONDS * HOPS_PER_SECOND
const MOST_LINES = 3
const TRIMS_PER_DB = 10

type SpokenLine = { readonly part: Part; readonly first: number; readonly end: number; readonly voiceLkfs: number }

/** Where dialogue is too soft, once the trims are on the programme. Nothing without a speech lane. */
export function softPassages(programme: Programme, trims: readonly Trim[]): readonly Found[] {
  const hops = hopsUnder(programme, trims)
  const parts = programme.pieces.map((part, index) => ({ ...part, hops: hops[index] as Float64Array }))
  const voices = voiceHopsUnder(programme, trims)
  const lines = parts.flatMap((part, index) => spokenLines(part, voices[index] as Float64Array))
  const dialogue = median(lines.map(({ voiceLkfs }) => voiceLkfs))
  const deviation = DEVIATION_OVER_MEDIAN * median(lines.map(({ voiceLkfs }) => Math.abs(voiceLkfs - dialogue)))
  const allowedLu = Math.max(LEAST_BELOW_DIALOGUE_LU, Math.min(BELOW_DIALOGUE_LU, DEVIATIONS * deviation))
  const soft = lines
    .filter(({ voiceLkfs }) => voiceLkfs < dialogue - allowedLu)
    .toSorted((a, b) => a.voiceLkfs - b.voiceLkfs)
    .slice(0, MOST_LINES)
    .map((line) => lineOf(programme, line, dialogue, allowedLu))
  const stretches = parts.flatMap((part) => softStretches(programme, part))
  return [...soft, ...stretches.filter((stretch) => !soft.some((line) => overlap(line, stretch)))]
}

/** Runs of speech with the loudness of the voice alone: what is heard around a run is taken off its energy. */
function spokenLines(part: Part, hops: Float64Array): SpokenLine[] {
  const { isSpeech } = part
  if (isSpeech === null) return []
  return runsOf(isSpeech).flatMap(({ first, end }) => {
    if (end - first < SHORTEST_LINE_HOPS) return []
    const isBackground = (hop: number) => isSpeech[hop] === 0
    const power = meanOf(hops, first, end, (hop) => isSpeech[hop] === 1)
    const background = Math.min(
      meanOf(hops, first - BACKGROUND_HOPS, first, isBackground) ?? Number.POSITIVE_INFINITY,
      meanOf(hops, end, end + BACKGROUND_HOPS, isBackground) ?? Number.POSITIVE_INFINITY,
    )
    if (power === null || power === 0) return []
    const voice = Math.max(LEAST_VOICE_SHARE * power, power - (Number.isFinite(background) ? background : 0))
    return [{ part, first, end, voiceLkfs: loudnessOf(voice) }]
  })
}

function runsOf(isSpeech: Uint8Array): { first: number; end: number }[] {
  const runs: { first: number; end: number }[] = []
  for (const [hop, mark] of isSpeech.entries()) {
    if (mark !== 1) continue
    const last = runs.at(-1)
    if (last !== undefined && hop - last.end < PAUSE_HOPS) last.end = hop + 1
    else runs.push({ first: hop, end: hop + 1 })
  }
  return runs
}

function meanOf(hops: Float64Array, from: number, to: number, counts: (hop: number) => boolean): number | null {
  let [sum, count] = [0, 0]
  for (let hop = Math.max(0, from); hop < Math.min(to, hops.length); hop++) {
    if (!counts(hop)) continue
    sum += hops[hop] as number
    count += 1
  }
  return count === 0 ? null : sum / count
}

function median(values: readonly number[]): number {
  const sorted = values.toSorted((a, b) => a - b)
  return sorted[sorted.length >> 1] ?? Number.NEGATIVE_INFINITY
}

function lineOf({ hopFrames }: Programme, line: SpokenLine, dialogue: number, allowedLu: number): Found {
  const { part, first, end, voiceLkfs } = line
  const below = dialogue - voiceLkfs
  const startFrame = part.startFrame + first * hopFrames
  const trim = Math.ceil((below - allowedLu) * TRIMS_PER_DB) / TRIMS_PER_DB
  return {
    kind: 'too-soft',
    line: 'dialogueLevel',
    startFrame,
    endFrame: Math.min(part.endFrame, part.startFrame + end * hopFrames),
    peakFrame: startFrame,
    measured: voiceLkfs,
    allowed: dialogue - allowedLu,
    unit: 'LKFS',
    excess: below - allowedLu,
    source: PRACTICE,
    suggestedTrimDb: trim,
    message:
      `This line is ${printFigure(below)} LU below the other dialogue: +${printFigure(trim)} dB is the least it needs, ` +
      `+${printFigure(below)} dB puts it at the level of the rest.`,
  }
}

/** Stretches of dialogue whose short-term loudness stays far below the target, or below the total where that is lower. */
function softStretches(programme: Programme, part: Part): Found[] {
  const { isSpeech, hops } = part
  if (isSpeech === null) return []
  const { targetLkfs, source } = programme.spec.programmeLoudness
  const reference = Math.min(targetLkfs, programme.asItIs.programmeLoudnessLkfs ?? targetLkfs)
  const limit = powerOf(reference - BELOW_TARGET_LU)
  const level = windowMeans(hops, SHORT_TERM_HOPS)
  const half = SHORT_TERM_HOPS / 2
  const isSoft = Uint8Array.from(hops, (_, hop) => {
    const power = level[Math.max(0, Math.min(level.length - 1, hop - half))]
    return Number(power !== undefined && power < limit && isSpeech[hop] === 1)
  })
  return runsOf(isSoft)
    .filter(({ first, end }) => end - first > SOFT_SECONDS * HOPS_PER_SECOND)
    .map(({ first, end }) => {
      const powers = level.subarray(Math.max(0, first - half), Math.max(1, end - half))
      const measured = loudnessOf(powers.reduce((least, power) => Math.min(least, power), powers[0] as number))
      const { hopFrames } = programme
      const startFrame = part.startFrame + first * hopFrames
      const trim = Math.ceil((loudnessOf(limit) - measured) * TRIMS_PER_DB) / TRIMS_PER_DB
      return {
        kind: 'too-soft' as const,
        line: 'shortTermLkfs',
        startFrame,
        endFrame: Math.min(part.endFrame, part.startFrame + end * hopFrames),
        peakFrame: startFrame,
        measured,
        allowed: loudnessOf(limit),
        unit: 'LKFS',
        excess: loudnessOf(limit) - measured,
        source,
        suggestedTrimDb: trim,
        message:
          `Dialogue stays below ${printFigure(loudnessOf(limit))} LKFS short-term for ` +
          `${printFigure((end - first) / HOPS_PER_SECOND, 0)} s; it needs at least +${printFigure(trim)} dB.`,
      }
    })
}

function overlap(a: Found, b: Found): boolean {
  return a.startFrame < b.endFrame && b.startFrame < a.endFrame
}
