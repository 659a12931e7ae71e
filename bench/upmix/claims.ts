import type { Kernels } from '../../src/dsp/index.ts'
import { foldDownDifferences } from '../../test/testkit/mixes-delivered.ts'
import { type HeardFigures, heardFigures } from '../../test/testkit/mixes-heard.ts'
import {
  azimuthLossDb,
  bassErrorDb,
  glideSpillDb,
  type HissFigures,
  type HostileFigures,
  hissFigures,
  hostileFigures,
} from '../../test/testkit/mixes-masters.ts'
import { clickPreEchoDb, type JudgedMix, judgeMix } from '../../test/testkit/mixes-metrics.ts'
import { type MixName, type StemSet, stemsOf, summed } from '../../test/testkit/mixes-stems.ts'

/** All that is measured on one set of mixes. */
export type Judged = {
  readonly mixes: Readonly<Partial<Record<MixName, JudgedMix>>>
  readonly clickPreEchoDb: number
  readonly azimuthLossDb: number
  readonly hiss: HissFigures
  readonly heard: HeardFigures
  readonly bassErrorDb: number
  readonly glideSpillDb: number
  readonly hostile: readonly HostileFigures[]
  readonly foldDownDifferences: number
}

/** Recorded set, with weights that are not cut at onsets; applause is all onsets, and cutting it would cost the surrounds. */
const UNCUT_APPLAUSE_DB = -7.99

const AZIMUTH_MICROSECONDS = 20

export function judgeSet(kernels: Kernels, set: StemSet, mixes = Object.keys(set.mixes) as MixName[]): Judged {
  return {
    mixes: Object.fromEntries(mixes.map((name) => [name, judgeMix(kernels, set, name)])),
    clickPreEchoDb: clickPreEchoDb(kernels),
    azimuthLossDb: azimuthLossDb(kernels, set, AZIMUTH_MICROSECONDS),
    hiss: hissFigures(kernels, set),
    heard: heardFigures(kernels, set),
    bassErrorDb: bassErrorDb(kernels, set),
    glideSpillDb: glideSpillDb(kernels),
    hostile: hostileFigures(kernels),
    foldDownDifferences: foldDownDifferences(kernels, summed(stemsOf(set, 'full'))),
  }
}

/** An amplitude that sways by 4 % at 4 Hz, on steady noise. @source Fastl and Zwicker, Psychoacoustics, from memory */
const JUST_AUDIBLE_SWAY_DB = 0.25

type Bound = { readonly most: number } | { readonly least: number }

/** What the upmix is held to with default settings. */
export type Claim = {
  readonly what: string
  readonly of: (judged: Judged) => number
  readonly floor: Bound
  /** What would be as good as a mixer could wish. */
  readonly aim?: number
  /** Where the held-out set misses the floor: what it must not fall below until it is reached. */
  readonly held?: number
}

const figure = (mix: MixName, name: Exclude<keyof JudgedMix, 'balances'>) => (judged: Judged) =>
  judged.mixes[mix]![name]!

/** The worst of a figure over all mixes that have it. */
const over = (worst: (...values: number[]) => number, name: Exclude<keyof JudgedMix, 'balances'>) => (judged: Judged) =>
  worst(...Object.values(judged.mixes).flatMap((mix) => mix[name] ?? []))

export const CLAIMS: readonly Claim[] = [
  {
    what: 'fold-down: 24-bit samples that differ, all settings changing',
    of: (judged) => judged.foldDownDifferences,
    floor: { most: 0 },
  },
  {
    what: 'dialogue in C, full, %',
    of: figure('full', 'dialogueInCentrePercent'),
    floor: { least: 99 },
    held: 98.65,
    aim: 99.8,
  },
  {
    what: 'dialogue artefact ratio, full, dB',
    of: figure('full', 'dialogueCleannessDb'),
    floor: { least: 23 },
    held: 19.7,
    aim: 30,
  },
  {
    what: 'dialogue in Ls+Rs, full, dB',
    of: figure('full', 'dialogueInSurroundsDb'),
    floor: { most: -30 },
    aim: -45,
  },
  {
    what: 'dialogue in Ls+Rs, with effects, dB',
    of: figure('dialogue + effects', 'dialogueInSurroundsDb'),
    floor: { most: -26 },
    aim: -45,
  },
  {
    what: 'dialogue in Ls+Rs, with effects: what listening takes off, dB',
    of: ({ heard }) => -heard.dialogueDb,
    floor: { least: 1.5 },
  },
  {
    what: 'room of music without a voice in Ls+Rs: what listening gives back, dB',
    of: ({ heard }) => heard.musicRoomDb,
    floor: { least: 0.3 },
  },
  {
    what: 'hard effects in C, full, dB',
    of: figure('full', 'effectsInCentreDb'),
    floor: { most: -16 },
    held: -15.5,
    aim: -30,
  },
  {
    what: 'hard effects in C, with dialogue, dB',
    of: figure('dialogue + effects', 'effectsInCentreDb'),
    floor: { most: -21 },
    aim: -30,
  },
  {
    what: 'image error, mean, full, degrees',
    of: figure('full', 'imageErrorMeanDegrees'),
    floor: { most: 1.3 },
    held: 1.95,
    aim: 0.5,
  },
  {
    what: 'image error, largest, full, degrees',
    of: figure('full', 'imageErrorMaxDegrees'),
    floor: { most: 4 },
    held: 7.1,
    aim: 1.5,
  },
  {
    what: 'pre-echo of hard effects, with dialogue, dB',
    of: figure('dialogue + effects', 'preEchoDb'),
    floor: { most: -45 },
    aim: -55,
  },
  {
    what: 'pre-echo of hard effects, full, dB',
    of: figure('full', 'preEchoDb'),
    floor: { most: -45 },
    held: -38.5,
    aim: -55,
  },
  {
    what: 'two clicks 3 ms apart: pre-echo, dB',
    of: (judged) => judged.clickPreEchoDb,
    floor: { most: -30 },
    aim: -40,
  },
  {
    what: 'applause in Ls+Rs, dB',
    of: figure('applause', 'applauseInSurroundsDb'),
    floor: { least: UNCUT_APPLAUSE_DB - 1 },
  },
  {
    what: 'ambience left in C, full, dB',
    of: figure('full', 'ambienceInCentreDb'),
    floor: { most: -6 },
    held: -4.4,
    aim: -12,
  },
  { what: 'kurtosis index of the surrounds, full', of: figure('full', 'unevenness'), floor: { most: 1 }, aim: 0.4 },
  {
    what: 'pulled apart: dialogue artefact ratio, full, dB',
    of: figure('full', 'pulledApartDb'),
    floor: { least: 20 },
    aim: 28,
  },
  {
    what: 'pulled apart: the same, worst mix, dB',
    of: over(Math.min, 'pulledApartDb'),
    floor: { least: 20 },
    held: 18.5,
    aim: 28,
  },
  {
    what: 'C muted: master dialogue over what is left of it, full, dB',
    of: figure('full', 'centreMutedDb'),
    floor: { least: 20 },
    held: 18.5,
    aim: 28,
  },
  {
    what: 'pulled apart: sway of the dialogue, worst mix, dB',
    of: over(Math.max, 'swayDb'),
    floor: { most: JUST_AUDIBLE_SWAY_DB },
    held: 1.1,
  },
  {
    what: 'azimuth 20 us: loss above 4 kHz in C, dB',
    of: (judged) => Math.abs(judged.azimuthLossDb),
    floor: { most: 0.5 },
    aim: 0.2,
  },
  {
    what: 'hiss at -60 dBFS: share in Ls+Rs, dB',
    of: ({ hiss }) => Math.max(hiss.inPausesDb, hiss.underSpeechDb),
    floor: { most: -20 },
    aim: -30,
  },
  { what: 'hiss: change from pause to speech, dB', of: ({ hiss }) => hiss.changeOfSumDb, floor: { most: 1 } },
  {
    what: 'Ls/Rs signed coherence, worst 3 s of any mix',
    of: over(Math.min, 'worstSurroundCoherence'),
    floor: { least: -0.1 },
    aim: 0,
  },
  {
    what: 'bass in one woofer, 20-200 Hz, largest error, dB',
    of: (judged) => judged.bassErrorDb,
    floor: { most: 0.5 },
    held: 3,
  },
  { what: 'change in 10 ms: spill above 5 kHz, dB', of: (judged) => judged.glideSpillDb, floor: { most: 1 }, aim: 0.5 },
  {
    what: 'hostile inputs: energy gained, dB',
    of: ({ hostile }) => Math.max(...hostile.map((each) => (each.isFinite ? (each.energyGainDb ?? 0) : Number.NaN))),
    floor: { most: 0.01 },
  },
  {
    what: 'hostile inputs: fold-down error, dBFS',
    of: ({ hostile }) => Math.max(...hostile.map((each) => each.lockDbfs)),
    floor: { most: -200 },
  },
]

/** Whether a value lies on the good side of a bound; NaN never does. */
export function isWithin(value: number, bound: Bound): boolean {
  return 'most' in bound ? value <= bound.most : value >= bound.least
}

/** What a test holds: the floor, or where it is missed what was reached. */
export function guardOf({ floor, held }: Claim): Bound {
  if (held === undefined) return floor
  return 'most' in floor ? { most: held } : { least: held }
}
