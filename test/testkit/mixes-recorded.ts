// Test mixes of recorded voices, effects and atmospheres, on which nothing of the upmix was ever tuned.
import { execFileSync } from 'node:child_process'
import { join } from 'node:path'
import type { Stereo } from './mixes.ts'
import { type Note, play, RATE } from './mixes-players.ts'
import { convolved, gaussian, panned, reverberant, rms, scaled, withRms } from './mixes-sound.ts'
import { applauseOf, atLevelBelow, fixedAt, mixesWith, moved, type StemSet, stem, summed } from './mixes-stems.ts'
import { seededRandom } from './programmes.ts'

const SECONDS = 24
const FRAMES = SECONDS * RATE
const SEED = 1853

const ACTED = '/usr/share/games/fillets-ng/sound'
const READ = '/usr/share/pocketsphinx/test/data/librivox/sense_and_sensibility_01_austen_64kb'
const PROMPTS = '/usr/share/asterisk/sounds/en_US_f_Allison'
const MUSIC = '/usr/share/games/singularity/music'
/** A zip file of recorded effects and atmospheres. */
const EFFECTS = '/usr/share/games/ufoai/base/0snd.pk3'

/** Acted by a woman and a man (22.05 kHz, Czech), read by a woman (16 kHz, English), an announcement (8 kHz, English). */
const LINES = [
  `${ACTED}/creatures/cs/kor-m-bizarni.ogg`,
  `${ACTED}/engine/cs/mot-v-zavery.ogg`,
  `${READ}-0890.wav`,
  `${PROMPTS}/vm-options.wav`,
  `${ACTED}/pearls/cs/jed-m-kulicka.ogg`,
]

/** Hard sounds, on the left and on the right in turn. */
const HITS = [
  'doors/door1-close',
  'misc/breakglass02',
  'footsteps/stone1',
  'weapons/bullet-rifle-1x',
  'footsteps/wood1',
  'misc/breakwood01',
  'impact/knife-impact',
  'doors/door3-close',
  'weapons/bullet-pistol',
  'footsteps/gravel1',
  'misc/breakmetal02',
  'seq/sword-hit',
  'weapons/explosion-grenade',
]
const NIGHT = 'ambience/ufo_night_atm'
const FOUNTAIN = 'ambience/waterfontain'
const ENGINE = 'ugv/diesel-move'

/** The level of the produced music, both tracks; the voices stand 6 dB above it in the mid. */
const PRODUCED_RMS = 0.05

export function makeRecordedStems(): StemSet {
  const random = gaussian(SEED)
  const dialogue = dialogueOf()
  const music = trioOf()
  const effects = effectsOf()
  const spoken = panned(dialogue, 0)
  const passPlace = (seconds: number) => -30 * Math.cos((2 * Math.PI * seconds) / 12)
  const stems = [
    stem('dialogue', spoken, fixedAt(0)),
    stem('dialogueRoom', atLevelBelow(smallRoom(dialogue, random), spoken, 14), null, true),
    ...music,
    stem('musicRoom', atLevelBelow(reverberant(monoOf(music), 2.2, 25, random), summed(music), 10), null, true),
    stem('produced', producedMusic(), null),
    stem('effectsLeft', { left: effects.left, right: new Float64Array(FRAMES) }, fixedAt(30)),
    stem('effectsRight', { left: new Float64Array(FRAMES), right: effects.right }, fixedAt(-30)),
    stem('bed', atmosphere(), null, true),
    stem('passBy', moved(withRms(looped(monoOf([effect(ENGINE)]), FRAMES), 0.05), passPlace), passPlace),
    stem('applause', applauseOf(FRAMES, { seed: SEED, clapsPerSecond: 45 }), null),
  ]
  return {
    stems: Object.fromEntries(stems.map((each) => [each.name, each])),
    onsets: effects.onsets,
    mixes: {
      ...mixesWith(music.map(({ name }) => name)),
      'dialogue + produced music': { dialogue: 0, dialogueRoom: 0, produced: -3 },
    },
  }
}

function decoded(input: readonly string[], bytes?: Buffer): Stereo {
  const out = ['-af', `aresample=${RATE}:resampler=soxr`, '-ac', '2', '-f', 'f64le', '-']
  const raw = execFileSync('ffmpeg', ['-v', 'error', ...input, ...out], { maxBuffer: 2 ** 28, input: bytes })
  const samples = new Float64Array(new Uint8Array(raw).buffer)
  const track = (index: number) => Float64Array.from({ length: samples.length / 2 }, (_, i) => samples[2 * i + index]!)
  return { left: track(0), right: track(1) }
}

function effect(name: string): Stereo {
  const unzip = 'import sys, zipfile; sys.stdout.buffer.write(zipfile.ZipFile(sys.argv[1]).read(sys.argv[2]))'
  const ogg = execFileSync('/usr/bin/python3', ['-c', unzip, EFFECTS, `sound/${name}.ogg`], { maxBuffer: 2 ** 26 })
  return decoded(['-i', 'pipe:0'], ogg)
}

function monoOf(pairs: readonly Stereo[]): Float64Array {
  return pairs[0]!.left.map((_, i) => pairs.reduce((sum, { left, right }) => sum + left[i]! + right[i]!, 0) / 2)
}

function looped(x: Float64Array, frameCount: number): Float64Array {
  return Float64Array.from({ length: frameCount }, (_, i) => x[i % x.length]!)
}

/** Lines from 0.5 s on, 0.35 s apart, each with RMS 0.1 where it sounds. */
function dialogueOf(): Float64Array {
  const out = new Float64Array(FRAMES)
  let at = 0.5 * RATE
  for (const path of LINES) {
    const line = monoOf([decoded(['-i', path])])
    const peak = line.reduce((most, x) => Math.max(most, Math.abs(x)), 0)
    const level = rms(line.filter((x) => Math.abs(x) > 0.03 * peak))
    out.set(scaled(line, 0.1 / level).subarray(0, Math.max(0, FRAMES - at)), Math.min(at, FRAMES))
    at += line.length + Math.round(0.35 * RATE)
  }
  return out
}

/** Ten early reflections a side within 40 ms and a short tail, unlike on the two sides. */
function smallRoom(x: Float64Array, random: () => number): Stereo {
  const uniform = seededRandom(SEED + 1)
  const early = () => {
    const response = new Float64Array(0.04 * RATE)
    for (let tap = 0; tap < 10; tap++) {
      const at = Math.floor((0.004 + 0.036 * uniform()) * RATE)
      response[at] = (uniform() < 0.5 ? -1 : 1) * 0.5 * (0.004 * RATE) ** 0.5 * at ** -0.5
    }
    return convolved(x, response)
  }
  const tail = reverberant(x, 0.8, 20, random)
  const withEarly = (side: Float64Array) => {
    const first = early()
    return side.map((sample, i) => sample + first[i]!)
  }
  return { left: withEarly(tail.left), right: withEarly(tail.right) }
}

const BEATS_PER_MINUTE = 84
const BARS = 12
const SCALE = [50, 52, 53, 55, 57, 58, 60, 62, 64, 65]

/** A waltz for plucked bass, vibraphone, oboe, tremolo strings and brushes, with a melody by chance. */
function trioOf() {
  const uniform = seededRandom(SEED + 2)
  const pick = () => SCALE[Math.floor(uniform() * SCALE.length)]!
  const bars = (pattern: (root: number) => readonly Note[]) =>
    Array.from({ length: BARS }, (_, bar) =>
      pattern([50, 55, 57, 53][bar % 4]!).map((note) => ({ ...note, at: note.at + 3 * bar })),
    ).flat()
  const parts = {
    bass: { program: 32, degrees: 0, notes: bars((root) => [{ at: 0, beats: 2.5, key: root - 12, velocity: 95 }]) },
    vibraphone: {
      program: 11,
      degrees: 24,
      notes: bars((root) =>
        [1, 2, 2.5].map((at) => ({ at, beats: 1.5, key: root + 12 + (at === 2 ? 7 : 3), velocity: 75 })),
      ),
    },
    oboe: {
      program: 68,
      degrees: -16,
      notes: bars(() => [0, 1, 1.5, 2].map((at) => ({ at, beats: 0.6, key: pick() + 12, velocity: 80 }))),
    },
    strings: {
      program: 44,
      degrees: -27,
      notes: bars((root) => [0, 7, 15].map((step) => ({ at: 0, beats: 3, key: root + step, velocity: 70 }))),
    },
    brushes: {
      program: 40,
      degrees: 8,
      notes: bars(() => [38, 40, 42].map((key, at) => ({ at, beats: 0.3, key, velocity: 90 - 10 * at }))),
    },
  }
  return Object.entries(parts).map(([name, { program, degrees, notes }]) => {
    const how = { program, isDrums: name === 'brushes', beatsPerMinute: BEATS_PER_MINUTE }
    return stem(name, panned(withRms(play(notes, how, FRAMES), 0.05), degrees), fixedAt(degrees))
  })
}

/** Two stretches of produced music, 12 s each, as they stand on the record. */
function producedMusic(): Stereo {
  const pieces = ['Orbital Elevator.ogg', 'Aberrations.ogg'].map((name) =>
    decoded(['-ss', '60', '-t', String(SECONDS / 2), '-i', join(MUSIC, name)]),
  )
  const level = (piece: Stereo) => PRODUCED_RMS / Math.sqrt((rms(piece.left) ** 2 + rms(piece.right) ** 2) / 2)
  const track = (side: 'left' | 'right') => {
    const out = new Float64Array(FRAMES)
    for (const [index, piece] of pieces.entries()) {
      out.set(scaled(piece[side], level(piece)).subarray(0, FRAMES / 2), (index * FRAMES) / 2)
    }
    return out
  }
  return { left: track('left'), right: track('right') }
}

/** A night outdoors and a fountain, both recorded in stereo, each with RMS 0.014. */
function atmosphere(): Stereo {
  const beds = [NIGHT, FOUNTAIN].map(effect)
  const track = (side: 'left' | 'right') => {
    const out = new Float64Array(FRAMES)
    for (const bed of beds) {
      const sound = looped(withRms(bed[side], 0.014), FRAMES)
      for (let i = 0; i < FRAMES; i++) out[i]! += sound[i]!
    }
    return out
  }
  return { left: track('left'), right: track('right') }
}

const FIRST_HIT_SECONDS = 0.6
const HIT_STEP_SECONDS = 1.1
const LONGEST_HIT_SECONDS = 0.95
const FADE_IN_FRAMES = 24

/** One hit every 1.1 s on alternating sides, cut to its attack so that silence comes before it, peak 0.5. */
function effectsOf(): Stereo & { readonly onsets: readonly number[] } {
  const hits = HITS.map((name) => cutToAttack(monoOf([effect(name)])))
  const sides = { left: new Float64Array(FRAMES), right: new Float64Array(FRAMES) }
  const onsets: number[] = []
  for (let index = 0; ; index++) {
    const at = Math.round((FIRST_HIT_SECONDS + HIT_STEP_SECONDS * index) * RATE)
    if (at + LONGEST_HIT_SECONDS * RATE > FRAMES) break
    const side = index % 2 === 0 ? sides.left : sides.right
    side.set(hits[index % hits.length]!, at)
    onsets.push(at)
  }
  return { ...sides, onsets }
}

function cutToAttack(sound: Float64Array): Float64Array {
  const peak = sound.reduce((most, x) => Math.max(most, Math.abs(x)), 0)
  const start = Math.max(0, sound.findIndex((x) => Math.abs(x) > 0.1 * peak) - FADE_IN_FRAMES)
  const cut = sound.subarray(start, start + LONGEST_HIT_SECONDS * RATE)
  const fadeOutFrames = 0.1 * RATE
  return cut.map((x, i) => (x / (2 * peak)) * Math.min(1, i / FADE_IN_FRAMES, (cut.length - i) / fadeOutFrames))
}
