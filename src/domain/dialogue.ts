import { framesPerHop, HOPS_PER_SECOND } from './grid.ts'
import { concatenated, loudnessOf, powerOf, toHops } from './loudness/windows.ts'
import type { DialogueFigures, DialogueLine, MeasuredPart, Measurements } from './measurements.ts'
import type { DeliverySpec } from './spec.ts'
import { type SpeechLane, spokenHops } from './speech.ts'

/**
 * With less dialogue than this a spec that is anchored on dialogue is judged on the gated total of the programme.
 * @source common practice
 */
export const LEAST_DIALOGUE_SHARE = 0.15

/** Shorter runs of speech say little about how loud somebody talks. */
const SHORTEST_LINE_HOPS = HOPS_PER_SECOND

/** How far around a line its background is looked for. */
const BACKGROUND_REACH_HOPS = 5 * HOPS_PER_SECOND

/** Background needs this much to be one. */
const LEAST_BACKGROUND_HOPS = HOPS_PER_SECOND / 2

/** Below this there is no background to speak of. */
const SILENCE_POWER = powerOf(-70)

const MOST_LINES = 5

/** Mean power of the hops that are marked; null where none is, or nothing is heard in them. */
export function markedPower(powers100ms: Float64Array, isMarked: ArrayLike<number>): number | null {
  let sum = 0
  let count = 0
  for (const [hop, power] of powers100ms.entries()) {
    if (isMarked[hop] !== 1) continue
    sum += power
    count += 1
  }
  return sum === 0 ? null : sum / count
}

/** The loudness that a spec's target is held against: that of dialogue where the spec asks for it and there is enough. */
export function isJudgedOnDialogue(
  spec: Pick<DeliverySpec, 'anchor'>,
  { dialogueLoudnessLkfs, dialogueShare }: SpokenFigures,
): boolean {
  const isEnough = dialogueShare !== null && dialogueShare >= LEAST_DIALOGUE_SHARE
  return spec.anchor === 'dialogue' && isEnough && dialogueLoudnessLkfs !== null
}

/** The hops of a stretch that belong to a line of dialogue, on the stretch's own grid, from a lane on the file's. */
export function speechWithin(speech: SpeechLane, part: MeasuredPart): Uint8Array {
  return within(speech.isSpeech100ms, part)
}

/** Those of them in which a voice sounds: pauses belong to a line, but not to its loudness. */
export function spokenWithin(speech: SpeechLane, part: MeasuredPart): Uint8Array {
  return within(spokenHops(speech), part)
}

function within(marks100ms: Uint8Array, { startFrame, measured }: MeasuredPart): Uint8Array {
  const hopFrames = framesPerHop(measured.sampleRateHz)
  const offset = startFrame / hopFrames
  const hops = Math.floor(measured.frameCount / hopFrames)
  return Uint8Array.from({ length: hops }, (_, hop) => marks100ms[Math.floor(hop + offset + 0.5)] ?? 0)
}

/** A stretch of the programme in hops of its own, with its speech. */
type Stretch = {
  readonly startFrame: number
  readonly hopFrames: number
  readonly powers: Float64Array
  readonly foldDown: Float64Array | null
  readonly isSpeech: Uint8Array
  readonly isSpoken: Uint8Array
}

function stretchOf(part: MeasuredPart, speech: SpeechLane): Stretch {
  const { programme10ms, foldDown10ms, sampleRateHz } = part.measured
  return {
    startFrame: part.startFrame,
    hopFrames: framesPerHop(sampleRateHz),
    powers: toHops(programme10ms),
    foldDown: foldDown10ms === null ? null : toHops(foldDown10ms),
    isSpeech: speechWithin(speech, part),
    isSpoken: spokenWithin(speech, part),
  }
}

/**
 * The same measurements with what is said about dialogue. Without a lane they stay as they are; where nobody speaks
 * the share is 0 and the rest stays null.
 * @source speech-gated BS.1770, the mean over the 100 ms of speech of all channels but the LFE: common practice;
 * programme minus dialogue: EBU R 128 s4
 */
export function withDialogue<T extends Measurements>(
  measurements: T,
  parts: readonly MeasuredPart[],
  speech: SpeechLane | null,
): T {
  if (speech === null) return measurements
  const stretches = parts.map((part) => stretchOf(part, speech))
  const spoken = spokenIn(stretches)
  const { dialogueLoudnessLkfs } = spoken
  if (dialogueLoudnessLkfs === null) return { ...measurements, ...spoken }
  const lines = stretches.flatMap(linesOf)
  const { programmeLoudnessLkfs, foldDown } = measurements
  const dialogue: DialogueFigures = {
    programmeMinusDialogueLu: programmeLoudnessLkfs === null ? null : programmeLoudnessLkfs - dialogueLoudnessLkfs,
    dialogueOverBackgroundLu: median(lines.flatMap(({ overBackgroundLu }) => overBackgroundLu ?? [])),
    quietestLines: lines
      .toSorted((a, b) => a.loudnessLkfs - b.loudnessLkfs || a.startFrame - b.startFrame)
      .slice(0, MOST_LINES),
  }
  const loRo = foldDown.loRo === null ? null : { ...foldDown.loRo, dialogueLoudnessLkfs: foldedDialogue(stretches) }
  return { ...measurements, ...spoken, dialogue, foldDown: { ...foldDown, loRo } }
}

/** How much of a programme is dialogue, and how loud it is. */
export function spokenLoudness(parts: readonly MeasuredPart[], speech: SpeechLane): SpokenFigures {
  return spokenIn(parts.map((part) => stretchOf(part, speech)))
}

/** Every line of dialogue in the parts, with its loudness and how it stands over what is heard around it. */
export function dialogueLines(parts: readonly MeasuredPart[], speech: SpeechLane): readonly DialogueLine[] {
  return parts.flatMap((part) => linesOf(stretchOf(part, speech)))
}

type SpokenFigures = Pick<Measurements, 'dialogueLoudnessLkfs' | 'dialogueShare'>

function spokenIn(stretches: readonly Stretch[]): SpokenFigures {
  const isSpeech = stretches.flatMap((stretch) => [...stretch.isSpeech])
  const power = markedPower(
    concatenated(stretches.map(({ powers }) => powers)),
    stretches.flatMap(({ isSpoken }) => [...isSpoken]),
  )
  return {
    dialogueLoudnessLkfs: power === null ? null : loudnessOf(power),
    dialogueShare:
      isSpeech.length === 0 ? null : isSpeech.filter((isMarked) => isMarked === 1).length / isSpeech.length,
  }
}

function foldedDialogue(stretches: readonly Stretch[]): number | null {
  const power = markedPower(
    concatenated(stretches.flatMap(({ foldDown }) => foldDown ?? [])),
    stretches.flatMap(({ isSpoken }) => [...isSpoken]),
  )
  return power === null ? null : loudnessOf(power)
}

/** Every run of speech that is long enough, with its loudness and how it stands over what is heard around it. */
function linesOf({ startFrame, hopFrames, powers, isSpeech, isSpoken }: Stretch): DialogueLine[] {
  return runsOf(isSpeech).flatMap(({ first, end }) => {
    const power = meanPower(powers, first, end, (hop) => isSpoken[hop] === 1)
    if (end - first < SHORTEST_LINE_HOPS || power === null) return []
    const loudnessLkfs = loudnessOf(power)
    const from = Math.max(0, first - BACKGROUND_REACH_HOPS)
    const background = meanPower(powers, from, end + BACKGROUND_REACH_HOPS, (hop) => isSpeech[hop] === 0)
    return [
      {
        startFrame: startFrame + first * hopFrames,
        endFrame: startFrame + end * hopFrames,
        loudnessLkfs,
        overBackgroundLu: background === null ? null : loudnessLkfs - loudnessOf(background),
      },
    ]
  })
}

/** Runs of marked hops, [first, end). */
function runsOf(isMarked: Uint8Array): { readonly first: number; readonly end: number }[] {
  const runs: { readonly first: number; readonly end: number }[] = []
  for (let first = isMarked.indexOf(1); first >= 0; first = isMarked.indexOf(1, (runs.at(-1) as { end: number }).end)) {
    const next = isMarked.indexOf(0, first)
    runs.push({ first, end: next < 0 ? isMarked.length : next })
  }
  return runs
}

/** Mean power of the counted hops of a range; null where they are too few, or silent. */
function meanPower(powers: Float64Array, from: number, to: number, counts: (hop: number) => boolean): number | null {
  let sum = 0
  let count = 0
  for (let hop = from; hop < Math.min(to, powers.length); hop++) {
    if (!counts(hop)) continue
    sum += powers[hop] as number
    count += 1
  }
  return count < LEAST_BACKGROUND_HOPS || sum / count <= SILENCE_POWER ? null : sum / count
}

/** The middle of some values; null of none. */
export function median(values: readonly number[]): number | null {
  if (values.length === 0) return null
  const sorted = values.toSorted((a, b) => a - b)
  const [low, high] = [(sorted.length - 1) >> 1, sorted.length >> 1]
  return ((sorted[low] as number) + (sorted[high] as number)) / 2
}
