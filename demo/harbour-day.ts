import { filtered } from './synthesis/filters.ts'
import { gullCall } from './synthesis/foley.ts'
import { applause, boatEngine, cheer, gun, horn, murmur } from './synthesis/harbour.ts'
import { bassDrum, brassNote, cymbals, pitchHz, sideDrum } from './synthesis/instruments.ts'
import { createMix, type Mix, panned } from './synthesis/mix.ts'
import { between, type Random, seeded } from './synthesis/random.ts'
import { type Room, reverberated } from './synthesis/reverb.ts'
import { curve, gainOf, rounded, shape } from './synthesis/signal.ts'
import { crestTimes, sea } from './synthesis/weather.ts'
import type { LineName } from './voices/lines.ts'

const DURATION_SECONDS = 60
const GUN_AT = 21.5
const FINISH_AT = 45.6

const ROLES = ['L', 'R', 'C', 'LFE', 'Ls', 'Rs'] as const
type Surround = Mix<(typeof ROLES)[number]>

const QUAYSIDE: Room = { lowDecaySeconds: 1.6, highDecaySeconds: 0.8, size: 1.3, preDelayMs: 45 }

/** The 5.1 mix of *Harbour Day*: brass band, crowd, boats and commentary, all of it too loud. */
export function harbourDay(lines: Record<LineName, Float32Array>): Float32Array[] {
  const random = seeded(1891)
  const mix = createMix(ROLES, DURATION_SECONDS)
  const quay = createMix(['send'], DURATION_SECONDS)
  addCrowd(mix, random, lines)
  addBoats(mix, quay, random)
  addBand(mix, quay, random)
  addCommentary(mix, quay, lines)
  const [left, right, leftBehind, rightBehind] = reverberated(quay.channels.send, QUAYSIDE, 4)
  mix.add(left as Float32Array, 0, { L: -15 })
  mix.add(right as Float32Array, 0, { R: -15 })
  mix.add(leftBehind as Float32Array, 0, { Ls: -12 })
  mix.add(rightBehind as Float32Array, 0, { Rs: -12 })
  // Every channel was pushed into its fader, and bends where it would go over.
  return ROLES.map((role) =>
    rounded(
      shape(mix.channels[role], () => gainOf(4)),
      gainOf(-0.3),
    ),
  )
}

function addCrowd(mix: Surround, random: Random, lines: Record<LineName, Float32Array>): void {
  const spoken = Object.values(lines)
  const present = curve([0, 0.5], [GUN_AT - 3, 1], [GUN_AT, 0.6], [FINISH_AT, 1.1], [DURATION_SECONDS, 0.7])
  const excited = curve(
    [0, 0],
    [GUN_AT + 0.2, 0],
    [GUN_AT + 1, 0.8],
    [GUN_AT + 5, 0.2],
    [36, 0.1],
    [38, 0.5],
    [41, 0.2],
    [FINISH_AT, 0.5],
    [FINISH_AT + 3, 1],
    [55, 0.6],
    [59.5, 0],
  )
  const clapping = curve(
    [0, 0],
    [12.6, 0],
    [13.6, 0.8],
    [16, 0.7],
    [18, 0],
    [FINISH_AT + 2, 0],
    [FINISH_AT + 4, 1],
    [57, 0.9],
    [59.8, 0],
  )
  const levels = [
    ['L', -17],
    ['R', -17],
    ['Ls', -9],
    ['Rs', -9],
  ] as const
  for (const [role, levelDb] of levels) {
    mix.add(shape(murmur(random, spoken, DURATION_SECONDS), present), 0, { [role]: levelDb })
    mix.add(cheer(random, excited, DURATION_SECONDS), 0, { [role]: levelDb + 2 })
    mix.add(applause(random, clapping, DURATION_SECONDS), 0, { [role]: levelDb + 3 })
  }
  const crests = crestTimes(random, DURATION_SECONDS)
  for (const role of ['L', 'R', 'Ls', 'Rs'] as const) mix.add(sea(random, crests, DURATION_SECONDS), 0, { [role]: -24 })
}

/** A boat that crosses the picture: where it stands between left and right, and how near it is. */
const PASSES = [
  { atSeconds: 25, lengthSeconds: 9, firingsPerSecond: 13, from: -1, to: 1, levelDb: -4 },
  { atSeconds: 31, lengthSeconds: 8, firingsPerSecond: 17, from: 1, to: -0.6, levelDb: -5 },
  { atSeconds: 37, lengthSeconds: 9, firingsPerSecond: 11, from: -0.8, to: 0.9, levelDb: -3 },
] as const

function addBoats(mix: Surround, quay: Mix<'send'>, random: Random): void {
  for (const { atSeconds, lengthSeconds, firingsPerSecond, from, to, levelDb } of PASSES) {
    const engine = boatEngine(random, firingsPerSecond, lengthSeconds)
    const nearness = (seconds: number) => Math.exp(-(((seconds / lengthSeconds - 0.5) / 0.2) ** 2))
    const air = shape(engine.air, nearness)
    const right = (seconds: number) => ((from + ((to - from) * seconds) / lengthSeconds + 1) * Math.PI) / 4
    mix.add(
      shape(air.slice(), (seconds) => Math.cos(right(seconds))),
      atSeconds,
      { L: levelDb, Ls: levelDb - 15 },
    )
    mix.add(
      shape(air.slice(), (seconds) => Math.sin(right(seconds))),
      atSeconds,
      { R: levelDb, Rs: levelDb - 15 },
    )
    mix.add(shape(engine.water, nearness), atSeconds, { LFE: levelDb + 3 })
    quay.add(air, atSeconds, { send: levelDb - 6 })
  }
  for (const [atSeconds, position] of [
    [16.8, 0.7],
    [FINISH_AT + 1.2, -0.6],
  ] as const) {
    const call = horn(random, 2.6)
    mix.add(call, atSeconds, panned(position, -9))
    mix.add(filtered(call, 'low', 110), atSeconds, { LFE: -8 })
    quay.add(call, atSeconds, { send: -10 })
  }
  const { report, push } = gun(random)
  mix.add(report, GUN_AT, { L: -2, R: -2, Ls: -16, Rs: -16 })
  mix.add(push, GUN_AT, { LFE: -1 })
  quay.add(report, GUN_AT, { send: -2 })
  for (const atSeconds of [8.3, 19.2, 34.6]) mix.add(gullCall(random), atSeconds, { Ls: -22, Rs: -26 })
}

const COMMENTARY: readonly (readonly [LineName, number])[] = [
  ['harbour-1', 6.2],
  ['harbour-2', 14.8],
  ['harbour-3', GUN_AT + 0.9],
  ['harbour-4', 26.6],
  ['harbour-5', 37.6],
  ['harbour-6', FINISH_AT],
]

function addCommentary(mix: Surround, quay: Mix<'send'>, lines: Record<LineName, Float32Array>): void {
  for (const [name, atSeconds] of COMMENTARY) {
    const voice = filtered(filtered(lines[name], 'high', 140), 'low', 6500)
    // A commentator's microphone is close, and its compressor works hard.
    const close = voice.map((sample) => Math.tanh(3.2 * sample))
    mix.add(close, atSeconds, { C: -4.5 })
    // It also comes out of the loudspeakers along the quay.
    quay.add(close, atSeconds, { send: -17 })
  }
}

const BEAT_SECONDS = 60 / 116
const BARS_OF_MARCH = 8
/** Chords of the march, one a bar, in semitones from A4: the root below, then the three that the horns and trombones hold. */
const MARCH_CHORDS = [
  [-23, -11, -7, -4],
  [-23, -11, -7, -4],
  [-18, -13, -9, -6],
  [-23, -11, -7, -4],
  [-28, -12, -9, -4],
  [-23, -11, -7, -4],
  [-28, -16, -12, -9],
  [-23, -11, -7, -4],
] as const
/** The cornets' tune: beat of the march, semitones from A4, length in beats. */
const MARCH_TUNE = [
  [0, 1, 1],
  [1, 1, 0.5],
  [1.5, 3, 0.5],
  [2, 5, 1],
  [3, 1, 1],
  [4, 8, 1.5],
  [5.5, 6, 0.5],
  [6, 5, 2],
  [8, 6, 1],
  [9, 6, 0.5],
  [9.5, 8, 0.5],
  [10, 10, 1],
  [11, 6, 1],
  [12, 5, 1.5],
  [13.5, 3, 0.5],
  [14, 1, 2],
  [16, 3, 1],
  [17, 3, 0.5],
  [17.5, 5, 0.5],
  [18, 8, 1],
  [19, 3, 1],
  [20, 5, 1],
  [21, 8, 1],
  [22, 13, 2],
  [24, 12, 1],
  [25, 10, 0.5],
  [25.5, 8, 0.5],
  [26, 8, 1],
  [27, 3, 1],
  [28, 1, 3],
] as const

function addBand(mix: Surround, quay: Mix<'send'>, random: Random): void {
  for (const [fromSeconds, levelDb] of [
    [0.3, -9],
    [FINISH_AT - 1.4, -10],
  ] as const) {
    const band = createMix(ROLES, DURATION_SECONDS)
    addMarch(band, random)
    for (const role of ROLES) mix.add(band.channels[role], fromSeconds, { [role]: levelDb })
    for (const role of ['L', 'R', 'C'] as const) quay.add(band.channels[role], fromSeconds, { send: levelDb - 4 })
  }
}

function addMarch(band: Surround, random: Random): void {
  const human = () => between(random, 0, 0.018)
  for (const [beat, semitone, beats] of MARCH_TUNE) {
    const at = beat * BEAT_SECONDS + human()
    const length = beats * BEAT_SECONDS * 0.94
    band.add(brassNote(random, pitchHz(semitone), 0.9, length), at, panned(-0.45, 0))
    band.add(brassNote(random, pitchHz(semitone - 4), 0.7, length), at + human(), panned(-0.2, -3))
    band.add(brassNote(random, pitchHz(semitone - 12), 0.8, length), at + human(), panned(0.5, -2))
  }
  for (const [bar, [root, ...held]] of MARCH_CHORDS.entries()) {
    for (let beat = 0; beat < 4; beat++) {
      const at = (4 * bar + beat) * BEAT_SECONDS
      const isOnBeat = beat % 2 === 0
      if (isOnBeat) {
        const bass = brassNote(random, pitchHz(beat === 0 ? root : root - 5), 0.85, BEAT_SECONDS * 0.85)
        band.add(bass, at + human(), { ...panned(0.3, 1), LFE: -18 })
        const drum = bassDrum(random, 0.9)
        band.add(drum, at, { L: -7, R: -7, LFE: -9 })
      } else {
        for (const [index, semitone] of held.entries())
          band.add(
            brassNote(random, pitchHz(semitone), 0.6, BEAT_SECONDS * 0.4),
            at + human(),
            panned(0.1 + 0.3 * index, -5),
          )
      }
      for (const [offset, loudness] of [
        [0, 0.45],
        [0.5, 0.3],
        [0.75, 0.35],
      ] as const)
        band.add(sideDrum(random, loudness), at + offset * BEAT_SECONDS, panned(-0.1, -6))
    }
    if (bar % 4 === 0 || bar === BARS_OF_MARCH - 1)
      band.add(cymbals(random, 0.7), 4 * bar * BEAT_SECONDS, panned(0.15, -6))
  }
}
