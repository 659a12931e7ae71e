// Twenty programmes of real sound (Debian's singularity-music, ufoai-sound, fillets-ng-data-cs, asterisk-core-sounds-en-wav
// and pocketsphinx-testdata), ten in 5.1 and ten in 2.0: what a mixer brings to a fit.
import { execFileSync } from 'node:child_process'
import { existsSync, mkdtempSync, renameSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { recording } from '../../test/testkit/inspected.ts'
import { seededRandom } from '../../test/testkit/programmes.ts'
import { musicTrack, spokenTrack, type VoiceKind } from '../../test/testkit/spoken-programmes.ts'
import { delayed, gained, lowEnd, type Planes, sum } from '../../test/testkit/surround-mixes.ts'

export const RATE = 48000
const FINE_HOP = RATE / 100
const EFFECTS = '/usr/share/games/ufoai/base/0snd.pk3'
const VOICE_RMS = 0.05
const SURROUND_DELAY_MS = 23

export type Recipe = {
  readonly name: string
  readonly layout: '2.0' | '5.1'
  readonly seconds: number
  readonly seed: number
  readonly music: string
  /** Music below the voice, in dB. */
  readonly musicBelowDb: number
  readonly voice: VoiceKind | null
  readonly atmosphere: string | null
  /** Scenes in which the music is louder, each [start s, length s, dB]. */
  readonly loudScenes: readonly (readonly [number, number, number])[]
  /** Hits, in seconds. */
  readonly hits: readonly number[]
  /** Scenes with too much low end, each [start s, length s], and by how much. */
  readonly booms: readonly (readonly [number, number])[]
  /** Applied to everything; `hot` is written as 32-bit float and stands this far above full scale. */
  readonly gainDb: number
  readonly isHot: boolean
}

export type Made = {
  readonly mix: Planes
  /** The dialogue alone, in one plane: C of 5.1, both tracks of 2.0. */
  readonly dialogue: Float32Array
  readonly truth100ms: Uint8Array
  readonly hits10ms: readonly number[]
}

const quiet = { loudScenes: [], hits: [], booms: [], gainDb: 0, isHot: false } as const

function recipesOf(layout: '2.0' | '5.1', first: number): Recipe[] {
  const is51 = layout === '5.1'
  const base = (name: string, index: number, rest: Omit<Recipe, 'name' | 'layout' | 'seed'>): Recipe => ({
    name: `${name}, ${layout}`,
    layout,
    seed: first + index,
    ...rest,
  })
  const drama = {
    ...quiet,
    musicBelowDb: 10,
    loudScenes: [
      [14, 6, 14],
      [44, 5, 17],
    ],
    hits: [8.4, 33.8, 52.5],
  } as const
  const film = {
    ...quiet,
    musicBelowDb: 8,
    loudScenes: [
      [12, 7, 12],
      [46, 6, 16],
    ],
    hits: [7.3, 30.2, 40.7, 53.1],
    booms: [
      [22, 4],
      [34, 3],
    ],
  } as const
  const track = (a: string, b: string) => (is51 ? a : b)
  return [
    base('drama, acted', 0, {
      ...drama,
      seconds: 60,
      music: track('Nebula', 'Coherence'),
      voice: 'acted',
      atmosphere: 'ufo_night_atm',
    }),
    base('drama, read', 1, {
      ...drama,
      seconds: 60,
      music: track('Coherence', 'A New Journey'),
      voice: 'read',
      atmosphere: 'arcticwind',
    }),
    base('film, excess low end', 2, {
      ...film,
      seconds: 60,
      music: track('Orbital Elevator', 'Nebula'),
      voice: 'acted',
      atmosphere: 'minepump03',
    }),
    base('film, louder', 3, {
      ...film,
      seconds: 60,
      musicBelowDb: 2,
      music: track('Media Threat', 'By-Product'),
      voice: 'acted',
      atmosphere: 'sand-city',
    }),
    base('music, wide range', 4, {
      ...quiet,
      seconds: 60,
      music: 'Advanced Simulacra',
      musicBelowDb: is51 ? -6 : -3,
      voice: null,
      atmosphere: null,
    }),
    base('music, dense', 5, {
      ...quiet,
      seconds: 60,
      music: track('Inevitable', 'Enemy Unknown'),
      musicBelowDb: -12,
      voice: null,
      atmosphere: null,
    }),
    base('promo', 6, {
      ...quiet,
      seconds: 30,
      music: track('Enemy Unknown', 'Through Space'),
      musicBelowDb: 3,
      voice: 'prompts',
      atmosphere: null,
      hits: [9.1, 24.6],
      loudScenes: [[22, 7, 9]],
      gainDb: 8,
    }),
    base('dialogue only', 7, {
      ...quiet,
      seconds: 60,
      music: 'Nebula',
      musicBelowDb: 200,
      voice: track('acted', 'read') as VoiceKind,
      atmosphere: 'ufo_night_atm',
    }),
    base('very quiet', 8, {
      ...drama,
      seconds: 60,
      music: track('A New Journey', 'Aberrations'),
      voice: 'acted',
      atmosphere: 'waterfontain',
      gainDb: -25,
    }),
    base('very hot', 9, {
      ...drama,
      seconds: 60,
      music: track('By-Product', 'Deprecation'),
      voice: 'prompts',
      atmosphere: 'arcticwind',
      gainDb: 10,
      isHot: true,
    }),
  ]
}

export const RECIPES: readonly Recipe[] = [...recipesOf('5.1', 401), ...recipesOf('2.0', 501)]

/** The sounds of a zip file, unpacked once. */
function effects(): string {
  const folder = join(tmpdir(), 'plimsoll-bench-fit-effects')
  if (existsSync(folder)) return join(folder, 'sound')
  if (!existsSync(EFFECTS)) throw new Error(`no "${EFFECTS}": install the Debian package ufoai-sound`)
  const unfinished = mkdtempSync(`${folder}-`)
  execFileSync('/usr/bin/python3', ['-m', 'zipfile', '-e', EFFECTS, unfinished])
  renameSync(unfinished, folder)
  return join(folder, 'sound')
}

const HITS = ['weapons/explosion-grenade', 'doors/door1-close', 'misc/breakmetal02', 'weapons/bullet-rifle-1x']

/** Mix and stems of a programme; deterministic. */
export function makeProgramme(recipe: Recipe): Made {
  const { layout, seconds, seed, gainDb } = recipe
  const random = seededRandom(seed)
  const frames = seconds * RATE
  const spoken = recipe.voice === null ? null : spokenTrack('held-out', recipe.voice, seconds, seed)
  const dialogue = spoken === null ? new Float32Array(frames) : Float32Array.from(spoken.samples)
  const score = scoreOf(recipe, random)
  const places = atmosphereOf(recipe)
  const { planes: hits, at } = hitsOf(recipe, random)
  const around = score.map((plane, side) => sum(plane, places[side]!, hits[side]!))
  const boom = boomsOf(recipe, score)
  const planes =
    layout === '2.0'
      ? around.map((plane) => sum(plane, dialogue, boom))
      : [
          ...around.map((plane) => sum(plane, boom)),
          dialogue,
          sum(gained(lowEnd(hits), 0.7), gained(boom, 1.4)),
          ...[1, 0].map((side) =>
            sum(
              gained(delayed(score[side]!, SURROUND_DELAY_MS), 0.5),
              gained(delayed(places[side]!, SURROUND_DELAY_MS), 0.8),
              gained(delayed(hits[1 - side]!, SURROUND_DELAY_MS), 0.35),
            ),
          ),
        ]
  const level =
    10 ** (gainDb / 20) *
    (recipe.isHot ? 1 / peakOf(planes) : Math.min(1, 0.98 / (10 ** (gainDb / 20) * peakOf(planes))))
  return {
    mix: planes.map((plane) => gained(plane, level)),
    dialogue: gained(dialogue, level),
    truth100ms: spoken?.truth100ms ?? new Uint8Array(seconds * 10),
    hits10ms: at,
  }
}

function peakOf(planes: Planes): number {
  return planes.reduce((most, plane) => plane.reduce((top, x) => Math.max(top, Math.abs(x)), most), 0)
}

/** Music below the voice, raised in the loud scenes within a second or by a cut. */
function scoreOf({ music, musicBelowDb, loudScenes, seconds }: Recipe, random: () => number): Float32Array[] {
  const gain = new Float64Array(seconds * RATE).fill(10 ** (-musicBelowDb / 20))
  for (const [at, length, raisedDb] of loudScenes) {
    const isCut = random() < 0.5
    for (let i = at * RATE; i < Math.min(gain.length, (at + length) * RATE); i++) {
      const ramp = isCut ? 1 : Math.min(1, i / RATE - at, at + length - i / RATE)
      gain[i]! *= 10 ** ((raisedDb * ramp) / 20)
    }
  }
  const { left, right } = musicTrack(`${music}.ogg`, seconds)
  return [left, right].map((track) => Float32Array.from(track, (x, i) => x * gain[i]!))
}

/** A recorded place under everything, 24 dB below the voice. */
function atmosphereOf({ atmosphere, seconds }: Recipe): Float32Array[] {
  if (atmosphere === null) return [0, 1].map(() => new Float32Array(seconds * RATE))
  const sounds = recording(join(effects(), 'ambience', `${atmosphere}.ogg`), 2)
  const power = sounds.reduce((all, plane) => all + plane.reduce((s, x) => s + x * x, 0) / plane.length / 2, 0)
  const gain = (VOICE_RMS * 10 ** (-24 / 20)) / Math.sqrt(power)
  return sounds.map((plane) => Float32Array.from({ length: seconds * RATE }, (_, i) => gain * plane[i % plane.length]!))
}

/** Recorded hits, each cut to its attack, 14 to 20 dB above the voice over their loudest 100 ms. */
function hitsOf({ hits, seconds }: Recipe, random: () => number): { planes: Float32Array[]; at: number[] } {
  const planes = [0, 1].map(() => new Float32Array(seconds * RATE))
  const at = hits.filter((second) => second < seconds - 3).map((second) => Math.round((second + random()) * 100))
  for (const [index, hit] of at.entries()) {
    const sounds = recording(join(effects(), `${HITS[index % HITS.length]!}.ogg`), 2, RATE, 3)
    const attack = 0.1 * peakOf([sounds[0]!])
    const start = Math.max(0, sounds[0]!.findIndex((x) => Math.abs(x) > attack) - 24)
    const cut = sounds.map((plane) => plane.subarray(start))
    const level = Math.sqrt(loudestPower(cut))
    const gain = (VOICE_RMS * 10 ** ((14 + 6 * random()) / 20)) / level
    for (const [side, plane] of planes.entries()) {
      for (let n = 0; n < cut[side]!.length && hit * FINE_HOP + n < plane.length; n++) {
        plane[hit * FINE_HOP + n]! += gain * cut[side]![n]! * Math.min(1, n / 24)
      }
    }
  }
  return { planes, at }
}

function loudestPower(planes: Planes): number {
  let most = 1e-12
  for (let at = 0; at + RATE / 10 <= planes[0]!.length; at += FINE_HOP) {
    const here = planes.reduce((all, plane) => {
      return all + plane.subarray(at, at + RATE / 10).reduce((s, x) => s + x * x, 0) / (RATE / 5)
    }, 0)
    most = Math.max(most, here)
  }
  return most
}

/** The music's own bass, by far too much of it, in the scenes that say so: 12 dB above the voice. */
function boomsOf({ booms, seconds }: Recipe, score: Planes): Float32Array {
  const boom = new Float32Array(seconds * RATE)
  if (booms.length === 0) return boom
  const bass = lowEnd(score)
  for (const [start, length] of booms) {
    const [from, to] = [start * RATE, Math.min(seconds, start + length) * RATE]
    const power = bass.subarray(from, to).reduce((s, x) => s + x * x, 0) / (to - from)
    const gain = (VOICE_RMS * 4) / Math.sqrt(power + 1e-9)
    for (let i = from; i < to; i++) boom[i] = gain * bass[i]! * Math.min(1, (i - from) / RATE, (to - i) / RATE)
  }
  return boom
}
