import { expect, test } from 'vitest'
import { isJudgedOnDialogue, withDialogue } from './dialogue.ts'
import { describeMeasured, loudnessOf } from './loudness/index.ts'
import type { Measured } from './measurements.ts'
import { type SpeechLane, speechLane } from './speech.ts'

// Outside authority: the definitions. Speech-gated loudness is the mean over the hops of speech (common practice),
// programme minus dialogue is EBU R 128 s4; all levels are chosen, so the answers can be written down.
const energyOf = (lkfs: number) => 10 ** ((lkfs + 0.691) / 10)

type Stretch = readonly [seconds: number, lkfs: number, isSpeech: boolean]

function programme(stretches: readonly Stretch[]): { measured: Measured; speech: SpeechLane } {
  const powers = stretches.flatMap(([seconds, lkfs]) =>
    new Array<number>(Math.round(seconds * 100)).fill(energyOf(lkfs)),
  )
  const isSpeech = stretches.flatMap(([seconds, , isHere]) =>
    new Array<number>(Math.round(seconds * 10)).fill(isHere ? 255 : 0),
  )
  const peak = { value: 0.5, frameIndex: 0 }
  const measured: Measured = {
    sampleRateHz: 48000,
    layout: '2.0',
    frameCount: powers.length * 480,
    programme10ms: Float64Array.from(powers),
    foldDown10ms: null,
    channels100ms: new Float64Array(powers.length / 5),
    linkedPeak100ms: new Float64Array(powers.length / 10),
    lfePeak100ms: null,
    truePeak100ms: null,
    foldDownTruePeak100ms: null,
    channels: [
      { samplePeak: peak, truePeak: peak },
      { samplePeak: peak, truePeak: peak },
    ],
    foldDown: null,
    nonFiniteSampleCount: 0,
  }
  return { measured, speech: speechLane([Uint8Array.from(isSpeech)]) }
}

function measuredWith(stretches: readonly Stretch[]) {
  const { measured, speech } = programme(stretches)
  return withDialogue(describeMeasured(measured), [{ startFrame: 0, measured }], speech)
}

test('dialogue loudness is the mean power of the speech, share its part of the time, whatever the music does', () => {
  const figures = measuredWith([
    [10, -20, false],
    [4, -27, true],
    [16, -20, false],
    [2, -24, true],
    [8, -33, false],
  ])
  const mean = (4 * energyOf(-27) + 2 * energyOf(-24)) / 6
  expect(figures.dialogueLoudnessLkfs).toBeCloseTo(loudnessOf(mean), 9)
  expect(figures.dialogueShare).toBeCloseTo(6 / 40, 9)
  const { programmeLoudnessLkfs, dialogueLoudnessLkfs, dialogue } = figures
  expect(dialogue?.programmeMinusDialogueLu).toBeCloseTo(programmeLoudnessLkfs! - dialogueLoudnessLkfs!, 9)
})

test('the quietest lines come first, with what they stand over', () => {
  const { dialogue } = measuredWith([
    [6, -40, false],
    [2, -26, true],
    [6, -40, false],
    [3, -34, true],
    [6, -44, false],
    [0.5, -50, true],
    [6, -120, false],
  ])
  // The call of half a second is no line; 5 s on either side of each line are its background.
  expect(dialogue?.quietestLines.map(({ startFrame, endFrame }) => [startFrame / 48000, endFrame / 48000])).toEqual([
    [14, 17],
    [6, 8],
  ])
  const [quiet, loud] = dialogue!.quietestLines
  expect(quiet?.loudnessLkfs).toBeCloseTo(-34, 9)
  expect(quiet?.overBackgroundLu).toBeCloseTo(-34 - loudnessOf((energyOf(-40) + energyOf(-44)) / 2), 9)
  expect(loud?.overBackgroundLu).toBeCloseTo(14, 9)
  const median = (quiet!.overBackgroundLu! + loud!.overBackgroundLu!) / 2
  expect(dialogue?.dialogueOverBackgroundLu).toBeCloseTo(median, 9)
})

test('a pause inside a line belongs to it and not to its loudness', () => {
  const { measured } = programme([
    [1, -25, true],
    [0.3, -60, true],
    [1, -25, true],
    [7.7, -40, false],
  ])
  const heard = [...new Array(10).fill(255), 45, 45, 45, ...new Array(10).fill(255), ...new Array(77).fill(0)]
  const parts = [{ startFrame: 0, measured }]
  const figures = withDialogue(describeMeasured(measured), parts, speechLane([Uint8Array.from(heard)]))
  expect(figures.dialogueShare).toBeCloseTo(0.23, 9)
  expect(figures.dialogueLoudnessLkfs).toBeCloseTo(-25, 9)
  expect(figures.dialogue?.quietestLines[0]?.loudnessLkfs).toBeCloseTo(-25, 9)
})

test('nobody speaks: the share is 0 and nothing else is said; nobody listened: nothing is known', () => {
  const music: readonly Stretch[] = [[20, -23, false]]
  expect(measuredWith(music)).toMatchObject({ dialogueLoudnessLkfs: null, dialogueShare: 0, dialogue: null })
  const { measured } = programme(music)
  const unheard = withDialogue(describeMeasured(measured), [{ startFrame: 0, measured }], null)
  expect(unheard).toMatchObject({ dialogueLoudnessLkfs: null, dialogueShare: null, dialogue: null })
})

test('a stretch that begins inside a hop takes the hops of the lane that it mostly covers', () => {
  const { measured, speech } = programme([
    [10, -20, false],
    [10, -30, true],
  ])
  const startFrame = 48000 * 5 + 1440
  const fineHops = 10 * 100
  const part = {
    ...measured,
    frameCount: fineHops * 480,
    programme10ms: measured.programme10ms.slice(503, 503 + fineHops),
  }
  const figures = withDialogue(describeMeasured(part), [{ startFrame, measured: part }], speech)
  expect(figures.dialogueShare).toBeCloseTo(0.5, 9)
})

test('less than 15 % of dialogue, or none heard, leaves the total (common practice)', () => {
  const spoken = { dialogueLoudnessLkfs: -27, dialogueShare: 0.15 }
  expect(isJudgedOnDialogue({ anchor: 'dialogue' }, spoken)).toBe(true)
  expect(isJudgedOnDialogue({ anchor: 'dialogue' }, { ...spoken, dialogueShare: 0.1499 })).toBe(false)
  expect(isJudgedOnDialogue({ anchor: 'dialogue' }, { dialogueLoudnessLkfs: null, dialogueShare: null })).toBe(false)
  expect(isJudgedOnDialogue({ anchor: 'programme' }, spoken)).toBe(false)
})

test('lines last 0.5 s or more, short gaps belong to them, and somewhere the detector is sure', () => {
  const lane = (text: string) => {
    const of = { '#': 255, '+': 60, '.': 0 } as const
    return speechLane([Uint8Array.from(text, (mark) => of[mark as keyof typeof of])]).isSpeech100ms.join('')
  }
  expect(lane('..+##++..')).toBe('001111100')
  expect(lane('..+##+..')).toBe('00000000')
  expect(lane('..+++++..')).toBe('000000000')
  expect(lane('#####...#####')).toBe('1111111111111')
  expect(lane('#####....#####')).toBe('11111000011111')
  expect(lane('#####..##..#####')).toBe('1111100000011111')
})
