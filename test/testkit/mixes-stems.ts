import type { Stereo } from './mixes.ts'
import { type Note, play, RATE, speak } from './mixes-players.ts'
import { bandPassed, gaussian, panGains, panned, pinkNoise, reverberant, rms, scaled, withRms } from './mixes-sound.ts'
import { seededRandom } from './programmes.ts'

const FRAMES = 16 * RATE

/** A part of a mix; `degrees` is where it was panned (+30 left .. -30 right) at a time, null where it has no one place. */
export type Stem = Stereo & {
  readonly name: string
  readonly degrees: ((seconds: number) => number) | null
  /** Room, reverberation and bed, as against sound with a place. */
  readonly isAmbience: boolean
}

export type StemSet = {
  readonly stems: Readonly<Record<string, Stem>>
  /** Frames where a hard effect begins. */
  readonly onsets: readonly number[]
  readonly mixes: Readonly<Partial<Record<MixName, Gains>>>
}

/** What makes one set unlike another: lines, voices, chords, places, seed. */
export type StemRecipe = {
  readonly seed: number
  readonly lines: readonly { readonly text: string; readonly voice: string; readonly wordsPerMinute: number }[]
  readonly chords: readonly (readonly [number, number, number])[]
  readonly degrees: {
    readonly piano: number
    readonly guitar: number
    readonly strings: number
    readonly drums: number
  }
}

/** The set on which the upmix was tuned. */
export const TUNING_SET: StemRecipe = {
  seed: 20240611,
  lines: [
    {
      text: 'The tide turned before we reached the lock, and nobody had closed the gate.',
      voice: 'en-us+m3',
      wordsPerMinute: 150,
    },
    {
      text: 'Then who was on the quay last night, and why is the lamp still burning?',
      voice: 'en-us+f2',
      wordsPerMinute: 165,
    },
    {
      text: 'Leave the rope where it is. We will need every yard of it by morning.',
      voice: 'en-gb+m7',
      wordsPerMinute: 140,
    },
    {
      text: 'Listen, that is the bell from the outer buoy, it should not be ringing at all.',
      voice: 'en-us+f4',
      wordsPerMinute: 170,
    },
  ],
  chords: [
    [57, 60, 64],
    [53, 57, 60],
    [48, 52, 55],
    [55, 59, 62],
  ],
  degrees: { piano: 20, guitar: -25, strings: 10, drums: -5 },
}

/** The same recipe with other lines, voices, chords, places and noise: nothing was tuned on it. */
export const OTHER_SEED_SET: StemRecipe = {
  seed: 777,
  lines: [
    {
      text: 'You said the house was empty, but there are wet boots in the hall.',
      voice: 'en-gb+m1',
      wordsPerMinute: 155,
    },
    {
      text: 'Nobody has lived out here since the flood, not even in the summer months.',
      voice: 'en-us+f3',
      wordsPerMinute: 150,
    },
    {
      text: 'Give me the chart and hold the lantern steady, the channel shifts every year.',
      voice: 'en-us+m5',
      wordsPerMinute: 160,
    },
    {
      text: 'If the boat is not back by six I am going out to look for them myself.',
      voice: 'en-gb+f1',
      wordsPerMinute: 145,
    },
  ],
  chords: [
    [50, 53, 57],
    [46, 50, 53],
    [53, 57, 60],
    [48, 52, 55],
  ],
  degrees: { piano: -12, guitar: 27, strings: -18, drums: 3 },
}

export type MixName =
  | 'dialogue + ambience'
  | 'dialogue + music'
  | 'dialogue + produced music'
  | 'dialogue + effects'
  | 'music'
  | 'applause'
  | 'full'

/** Stems by name with their gains in dB. */
export type Gains = Readonly<Record<string, number>>

/** The mixes that every set has, with the instruments of its music. */
export function mixesWith(instruments: readonly string[]): StemSet['mixes'] {
  const musicAt = (db: number) => Object.fromEntries([...instruments, 'musicRoom'].map((name) => [name, db]))
  return {
    'dialogue + ambience': { dialogue: 0, dialogueRoom: 0, bed: 0 },
    'dialogue + music': { dialogue: 0, dialogueRoom: 0, ...musicAt(-6) },
    'dialogue + effects': { dialogue: 0, effectsLeft: 0, effectsRight: 0, bed: -6 },
    music: musicAt(0),
    applause: { applause: 0, bed: -10 },
    full: { dialogue: 0, dialogueRoom: 0, effectsLeft: -6, effectsRight: -6, bed: -6, passBy: -9, ...musicAt(-10) },
  }
}

/** The stems of a mix at their level. */
export function stemsOf(set: StemSet, mix: MixName): Stem[] {
  return Object.entries(set.mixes[mix] ?? {}).map(([name, db]) => {
    const stem = set.stems[name]!
    const gain = 10 ** (db / 20)
    return { ...stem, left: scaled(stem.left, gain), right: scaled(stem.right, gain) }
  })
}

export function summed(stems: readonly Stereo[]): Stereo {
  const frameCount = stems[0]!.left.length
  const left = new Float64Array(frameCount)
  const right = new Float64Array(frameCount)
  for (const stem of stems) {
    for (let i = 0; i < frameCount; i++) {
      left[i] = left[i]! + stem.left[i]!
      right[i] = right[i]! + stem.right[i]!
    }
  }
  return { left, right }
}

/** A part of a mix from its sound; `degrees` null: it has no one place. */
export function stem(name: string, audio: Stereo, degrees: Stem['degrees'], isAmbience = false): Stem {
  return { name, left: audio.left, right: audio.right, degrees, isAmbience }
}

export const fixedAt = (degrees: number) => () => degrees

const INSTRUMENTS = ['bass', 'piano', 'guitar', 'strings', 'drums'] as const

export function makeStems(recipe: StemRecipe): StemSet {
  const random = gaussian(recipe.seed)
  const dialogue = dialogueOf(recipe)
  const parts = musicOf(recipe)
  const roomSend = parts.piano.map((x, i) => x + parts.guitar[i]! + parts.strings[i]! + 0.5 * parts.drums[i]!)
  const effects = effectsOf(random)
  const passPlace = (seconds: number) => 30 * Math.cos((2 * Math.PI * seconds) / 8)
  const places = { bass: 0, ...recipe.degrees }
  const instruments = INSTRUMENTS.map((name) => stem(name, panned(parts[name], places[name]), fixedAt(places[name])))
  const spoken = panned(dialogue, 0)
  const stems = [
    stem('dialogue', spoken, fixedAt(0)),
    stem('dialogueRoom', atLevelBelow(reverberant(dialogue, 0.5, 8, random), spoken, 16), null, true),
    ...instruments,
    stem('musicRoom', atLevelBelow(reverberant(roomSend, 1.6, 12, random), summed(instruments), 9), null, true),
    stem('effectsLeft', { left: effects.left, right: new Float64Array(FRAMES) }, fixedAt(30)),
    stem('effectsRight', { left: new Float64Array(FRAMES), right: effects.right }, fixedAt(-30)),
    stem(
      'bed',
      { left: scaled(pinkNoise(FRAMES, random), 0.02), right: scaled(pinkNoise(FRAMES, random), 0.02) },
      null,
      true,
    ),
    stem('passBy', moved(scaled(pinkNoise(FRAMES, random), 0.05), passPlace), passPlace),
    stem('applause', applauseOf(FRAMES, { seed: recipe.seed, clapsPerSecond: 120 }), null),
  ]
  return {
    stems: Object.fromEntries(stems.map((each) => [each.name, each])),
    onsets: effects.onsets,
    mixes: mixesWith(INSTRUMENTS),
  }
}

/** Scales a room to `db` below the sound that it belongs to. */
export function atLevelBelow(room: Stereo, sound: Stereo, db: number): Stereo {
  const gain =
    (Math.hypot(rms(sound.left), rms(sound.right)) * 10 ** (-db / 20)) / Math.hypot(rms(room.left), rms(room.right))
  return { left: scaled(room.left, gain), right: scaled(room.right, gain) }
}

/** Lines from 0.4 s on, 0.25 s apart, each with RMS 0.1 where it sounds. */
function dialogueOf(recipe: StemRecipe): Float64Array {
  const out = new Float64Array(FRAMES)
  let at = 0.4 * RATE
  for (const { text, voice, wordsPerMinute } of recipe.lines) {
    const line = speak(text, voice, wordsPerMinute)
    const level = rms(line.filter((x) => Math.abs(x) > 0.01))
    out.set(scaled(line, 0.1 / level).subarray(0, Math.max(0, FRAMES - at)), Math.min(at, FRAMES))
    at += line.length + 0.25 * RATE
  }
  return out
}

const BEATS_PER_MINUTE = 112
const BARS = 8

function musicOf(recipe: StemRecipe): Record<'bass' | 'piano' | 'guitar' | 'strings' | 'drums', Float64Array> {
  const bar = (pattern: (chord: readonly number[]) => readonly Note[]) =>
    Array.from({ length: BARS }, (_, index) =>
      pattern(recipe.chords[index % recipe.chords.length]!).map((note) => ({ ...note, at: note.at + 4 * index })),
    ).flat()
  const every = (step: number, make: (index: number) => Omit<Note, 'at'>) =>
    Array.from({ length: 4 / step }, (_, index) => ({ at: index * step, ...make(index) }))
  const bass = bar(([root]) => every(1, () => ({ beats: 0.9, key: root! - 24, velocity: 90 })))
  const piano = bar((chord) =>
    chord.flatMap((key) => every(1, (i) => ({ beats: 0.8, key, velocity: i % 2 ? 70 : 85 }))),
  )
  const guitar = bar((chord) =>
    every(0.5, (i) => ({ beats: 0.5, key: chord[i % 3]! + (i > 3 ? 12 : 0), velocity: 80 })),
  )
  const strings = bar((chord) => chord.map((key) => ({ at: 0, beats: 4, key: key + 12, velocity: 70 })))
  const drums = bar(() => [
    ...every(2, () => ({ beats: 0.2, key: 36, velocity: 100 })),
    ...every(2, () => ({ beats: 0.2, key: 38, velocity: 95 })).map((note) => ({ ...note, at: note.at + 1 })),
    ...every(0.5, (i) => ({ beats: 0.2, key: 42, velocity: i % 2 ? 60 : 80 })),
  ])
  const perform = (notes: readonly Note[], program: number, isDrums = false) =>
    withRms(play(notes, { program, isDrums, beatsPerMinute: BEATS_PER_MINUTE }, FRAMES), 0.05)
  return {
    bass: perform(bass, 33),
    piano: perform(piano, 0),
    guitar: perform(guitar, 24),
    strings: perform(strings, 48),
    drums: perform(drums, 0, true),
  }
}

/** Hits from 0.7 s every 0.9 s on alternating sides: 0.5 s of band noise that decays, peak 0.5. */
function effectsOf(random: () => number): Stereo & { readonly onsets: readonly number[] } {
  const sides = { left: new Float64Array(FRAMES), right: new Float64Array(FRAMES) }
  const onsets: number[] = []
  for (let index = 0; ; index++) {
    const at = Math.round((0.7 + 0.9 * index) * RATE)
    if (at + 0.5 * RATE > FRAMES) break
    const f0 = [250, 900, 2500][index % 3]!
    const decaySeconds = index % 3 === 0 ? 0.18 : 0.05
    const raw = Float64Array.from({ length: 0.5 * RATE }, random)
    const hit = bandPassed(raw, f0 / 2, 3 * f0).map((x, i) => x * Math.exp(-i / (decaySeconds * RATE)))
    const peak = hit.reduce((most, x) => Math.max(most, Math.abs(x)), 0)
    const side = index % 2 === 0 ? sides.left : sides.right
    side.set(scaled(hit, 0.5 / peak), at)
    onsets.push(at)
  }
  return { ...sides, onsets }
}

export function moved(x: Float64Array, place: (seconds: number) => number): Stereo {
  const left = new Float64Array(x.length)
  const right = new Float64Array(x.length)
  for (let i = 0; i < x.length; i++) {
    const [a, b] = panGains(place(i / RATE))
    left[i] = a * x[i]!
    right[i] = b * x[i]!
  }
  return { left, right }
}

/** Claps: 4 .. 18 ms of band noise, anywhere, up to 23 frames later on one side; RMS 0.05 in all. */
export function applauseOf(
  frameCount: number,
  { seed, clapsPerSecond }: { readonly seed: number; readonly clapsPerSecond: number },
): Stereo {
  const uniform = seededRandom(seed + 1)
  const normal = gaussian(seed + 2)
  const left = new Float64Array(frameCount)
  const right = new Float64Array(frameCount)
  for (let clap = 0; clap < (clapsPerSecond * frameCount) / RATE; clap++) {
    const hz = 700 + 1800 * uniform()
    const length = Math.round((0.004 + 0.014 * uniform()) * RATE)
    const raw = bandPassed(Float64Array.from({ length }, normal), 0.6 * hz, 1.8 * hz)
    const sound = raw.map((x, i) => x * Math.exp((-5 * i) / length))
    const [a, b] = panGains(60 * uniform() - 30)
    const late = Math.floor(24 * uniform())
    const leftLate = uniform() < 0.5 ? late : 0
    const at = Math.floor(uniform() * (frameCount - length - 24))
    for (let i = 0; i < length; i++) {
      left[at + i + leftLate] = left[at + i + leftLate]! + a * sound[i]!
      right[at + i + late - leftLate] = right[at + i + late - leftLate]! + b * sound[i]!
    }
  }
  const level = Math.sqrt((rms(left) ** 2 + rms(right) ** 2) / 2)
  return { left: scaled(left, 0.05 / level), right: scaled(right, 0.05 / level) }
}
