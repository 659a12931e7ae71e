import { filtered } from './synthesis/filters.ts'
import { bell, boardStep, doorCreak, doorShut, gravelStep, gullCall, tick } from './synthesis/foley.ts'
import { pianoNote, pitchHz, stringsNote } from './synthesis/instruments.ts'
import { createMix, type Mix, panned } from './synthesis/mix.ts'
import { between, type Random, seeded } from './synthesis/random.ts'
import { type Room, reverberated } from './synthesis/reverb.ts'
import { curve, gainOf, rounded, shape } from './synthesis/signal.ts'
import { crackTimes, crestTimes, rain, sea, thunder, wind } from './synthesis/weather.ts'
import type { LineName } from './voices/lines.ts'

/** Length of the excerpt. Its acts: the lane by the sea, the kitchen, the storm, the morning after. */
const DURATION_SECONDS = 92
const KITCHEN_FROM = 31.2
const STORM_FROM = 55
const MORNING_FROM = 75

type Stereo = Mix<'L' | 'R'>

const HALL: Room = { lowDecaySeconds: 2.6, highDecaySeconds: 1.3, size: 1, preDelayMs: 22 }
const KITCHEN: Room = { lowDecaySeconds: 0.5, highDecaySeconds: 0.35, size: 0.22, preDelayMs: 4 }
const OPEN_AIR: Room = { lowDecaySeconds: 1.1, highDecaySeconds: 0.4, size: 1.5, preDelayMs: 60 }

/** The stereo master of an episode's excerpt of *Saltmarsh Lane*: a drama with a wide range and one loud storm. */
export function saltmarshLane(lines: Record<LineName, Float32Array>): Float32Array[] {
  const random = seeded(1986)
  const master = createMix(['L', 'R'], DURATION_SECONDS)
  addWeather(master, random)
  addFoley(master, random)
  addDialogue(master, lines)
  addMusic(master, random)
  return [master.channels.L, master.channels.R].map((channel) => rounded(channel, gainOf(-1)))
}

/** Sends one signal through a room and spreads what comes back over both sides. */
function addRoom(master: Stereo, room: Room, send: Mix<'send'>, levelDb: number): void {
  const [left, right] = reverberated(send.channels.send, room, 2)
  master.add(left as Float32Array, 0, { L: levelDb })
  master.add(right as Float32Array, 0, { R: levelDb })
}

function addWeather(master: Stereo, random: Random): void {
  const outdoors = curve(
    [0, 0],
    [3, 0.8],
    [KITCHEN_FROM, 0.8],
    [KITCHEN_FROM + 0.7, 0.12],
    [STORM_FROM, 0.14],
    [STORM_FROM + 3.5, 1.3],
    [71, 1.2],
    [MORNING_FROM + 2, 0.6],
    [88, 0.5],
    [91.8, 0],
  )
  const storm = curve([40, 0.05], [STORM_FROM, 0.3], [60, 1], [70, 0.9], [MORNING_FROM + 1, 0])
  const drops = curve(
    [8, 0],
    [14, 120],
    [KITCHEN_FROM, 400],
    [STORM_FROM, 700],
    [60, 2600],
    [70, 2200],
    [MORNING_FROM, 30],
    [80, 0],
  )
  const crests = crestTimes(random, DURATION_SECONDS)
  for (const side of ['L', 'R'] as const) {
    const shore = sea(random, crests, DURATION_SECONDS)
    master.add(shape(shore, outdoors), 0, { [side]: -15 })
    const wet = shape(rain(random, drops, DURATION_SECONDS), outdoors)
    master.add(wet, 0, { [side]: -6 })
    master.add(wind(random, storm, DURATION_SECONDS), 0, { [side]: -5 })
  }
  // In the kitchen the rain is on the roof: dull, and from everywhere.
  const roof = curve([KITCHEN_FROM, 0], [KITCHEN_FROM + 0.5, 1], [STORM_FROM + 1, 1], [STORM_FROM + 2, 0])
  for (const side of ['L', 'R'] as const)
    master.add(shape(filtered(rain(random, drops, DURATION_SECONDS), 'low', 1500), roof), 0, { [side]: -9 })
  const cracks = crackTimes(random)
  for (const side of ['L', 'R'] as const) {
    master.add(thunder(random, cracks), 61.4, { [side]: -7 })
    master.add(filtered(thunder(random, crackTimes(random)), 'low', 500), 49.6, { [side]: -27 })
    master.add(filtered(thunder(random, crackTimes(random)), 'low', 900), 68.2, { [side]: -13 })
  }
}

function addFoley(master: Stereo, random: Random): void {
  const air = createMix(['send'], DURATION_SECONDS)
  const kitchen = createMix(['send'], DURATION_SECONDS)
  for (const [atSeconds, position] of [
    [4.2, -0.7],
    [9.4, 0.5],
    [17.5, 0.8],
    [78.3, -0.4],
    [85.5, 0.3],
  ] as const) {
    const call = filtered(gullCall(random), 'low', 3800)
    master.add(call, atSeconds, panned(position, -31))
    air.add(call, atSeconds, { send: -29 })
  }
  for (let step = 0; step < 9; step++) {
    const sound = gravelStep(random)
    const atSeconds = 24.6 + 0.56 * step + between(random, -0.03, 0.03)
    master.add(sound, atSeconds, panned(-0.6 + 0.13 * step, -19))
    air.add(sound, atSeconds, { send: -36 })
  }
  const creak = doorCreak(random)
  const shut = doorShut(random)
  master.add(creak, 30, panned(0.35, -24))
  master.add(shut, KITCHEN_FROM + 0.6, panned(0.35, -13))
  kitchen.add(creak, 30, { send: -24 })
  kitchen.add(shut, KITCHEN_FROM + 0.6, { send: -14 })
  for (let step = 0; step < 5; step++) {
    const sound = boardStep(random)
    const atSeconds = 32.6 + 0.6 * step
    master.add(sound, atSeconds, panned(0.3 - 0.15 * step, -19))
    kitchen.add(sound, atSeconds, { send: -20 })
  }
  for (let second = 33; second < STORM_FROM; second++) {
    master.add(tick(second % 2 === 0), second, panned(-0.55, -33))
    kitchen.add(tick(second % 2 === 0), second, { send: -36 })
  }
  const chapel = filtered(bell(311), 'low', 1800)
  for (const atSeconds of [43.4, 46.6, 80.6]) {
    master.add(chapel, atSeconds, panned(0.6, -36))
    air.add(chapel, atSeconds, { send: -34 })
  }
  addRoom(master, OPEN_AIR, air, -2)
  addRoom(master, KITCHEN, kitchen, -3)
}

const CUES: readonly (readonly [LineName, number, number, 'lane' | 'kitchen'])[] = [
  ['lane-1', 13.2, -7, 'lane'],
  ['lane-2', 18.6, -6.5, 'lane'],
  ['lane-3', 23.2, -8, 'lane'],
  ['lane-4', 36.2, -7, 'kitchen'],
  ['lane-5', 41.5, -12.5, 'kitchen'],
  ['lane-6', 58.2, -3.5, 'lane'],
  ['lane-7', 65, -4, 'lane'],
  ['lane-8', 80.4, -7.5, 'lane'],
]

function addDialogue(master: Stereo, lines: Record<LineName, Float32Array>): void {
  const lane = createMix(['send'], DURATION_SECONDS)
  const kitchen = createMix(['send'], DURATION_SECONDS)
  for (const [name, atSeconds, levelDb, place] of CUES) {
    const voice = filtered(lines[name], 'high', 110)
    master.add(voice, atSeconds, { L: levelDb, R: levelDb })
    const room = place === 'lane' ? lane : kitchen
    room.add(voice, atSeconds, { send: levelDb })
  }
  addRoom(master, OPEN_AIR, lane, -27)
  addRoom(master, KITCHEN, kitchen, -15)
}

/** Chords of the cue in semitones from A4, low to high, and how long each lasts. */
const OPENING: readonly (readonly [readonly number[], number])[] = [
  [[-24, -12, -9, -5, 0], 3.4],
  [[-28, -16, -9, -4, 0], 3.4],
  [[-21, -14, -9, -5, 3], 3.4],
  [[-26, -14, -10, -7, 2], 4],
]
const ENDING: readonly (readonly [readonly number[], number])[] = [
  [[-24, -12, -9, -5, 0], 3.6],
  [[-21, -14, -9, -5, 3], 3.6],
  [[-24, -12, -8, -5, 4], 6],
]
const OPENING_TUNE = [
  [0.6, 7],
  [1.5, 3],
  [2.4, 0],
  [4.2, 8],
  [5.1, 7],
  [6, 3],
  [7.6, 10],
  [8.4, 7],
  [9.3, 3],
  [10.6, 2],
  [12, 5],
] as const
const ENDING_TUNE = [
  [0.5, 7],
  [1.4, 3],
  [2.3, 0],
  [4.1, 10],
  [5, 7],
  [6.2, 3],
  [7.7, 4],
  [9.2, 7],
  [10.6, 12],
] as const

function addMusic(master: Stereo, random: Random): void {
  const hall = createMix(['send'], DURATION_SECONDS)
  addCue(master, hall, random, 0.4, OPENING, OPENING_TUNE, -21)
  addCue(master, hall, random, 77.6, ENDING, ENDING_TUNE, -20)
  // The storm's stab: low strings and a cluster on the piano, just after the thunder.
  for (const [index, semitone] of [-36, -29, -24, -18, -17, -12, -6].entries()) {
    const note = stringsNote(random, pitchHz(semitone), 1, 7)
    master.add(note, 61.7, panned(-0.75 + 0.25 * index, -11))
    hall.add(note, 61.7, { send: -19 })
  }
  for (const semitone of [-36, -35, -30, -24]) {
    const note = pianoNote(random, pitchHz(semitone), 1, 6)
    master.add(note, 61.7, panned(-0.2, -11))
    hall.add(note, 61.7, { send: -19 })
  }
  addRoom(master, HALL, hall, -7)
}

function addCue(
  master: Stereo,
  hall: Mix<'send'>,
  random: Random,
  fromSeconds: number,
  chords: typeof OPENING,
  tune: readonly (readonly [number, number])[],
  levelDb: number,
): void {
  let atSeconds = fromSeconds
  for (const [chord, lengthSeconds] of chords) {
    for (const [index, semitone] of chord.entries()) {
      const note = stringsNote(random, pitchHz(semitone), 0.6, lengthSeconds + 0.9)
      // Basses right, violins left, as an orchestra sits.
      master.add(note, atSeconds, panned(0.7 - 0.35 * index, levelDb))
      hall.add(note, atSeconds, { send: levelDb })
    }
    atSeconds += lengthSeconds
  }
  for (const [offsetSeconds, semitone] of tune) {
    const loudness = between(random, 0.45, 0.65)
    const position = between(random, -0.35, -0.05)
    for (const [voice, semitones] of [semitone, semitone - 12].entries()) {
      const note = pianoNote(random, pitchHz(semitones), loudness, 3.2)
      master.add(note, fromSeconds + offsetSeconds, panned(position, levelDb + 2 - 5 * voice))
      hall.add(note, fromSeconds + offsetSeconds, { send: levelDb - 3 })
    }
  }
}
