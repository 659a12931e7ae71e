// Real sound for 5.1 mixes: music, atmospheres and effects, and voices, out of Debian packages; nothing is downloaded.
import { execFileSync } from 'node:child_process'
import { existsSync, mkdtempSync, readdirSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { recording } from '../../test/testkit/inspected.ts'
import { spokenTrack, type VoiceKind } from '../../test/testkit/spoken-programmes.ts'
import { gained, type Planes } from '../../test/testkit/surround-mixes.ts'

export const RATE = 48000
/** Five segments. */
export const EXCERPT_SECONDS = 128
/** From pieces that are longer than this a second excerpt is taken. */
const LONG_PIECE_SECONDS = 6 * 60
/** Pieces that are shorter say too little. */
const SHORTEST_PIECE_SECONDS = 40
/** Music and a sounding voice, both at this level (full scale = 1) before they are mixed. */
const LEVEL_RMS = 0.05

/** singularity-music, wesnoth-1.16-music, warzone2100-music, asc-music, drascula-music. */
const FOLDERS = [
  '/usr/share/games/singularity/music',
  '/usr/share/games/wesnoth/1.16/data/core/music',
  '/usr/share/games/warzone2100/music',
  '/usr/share/games/asc/music',
  '/usr/share/scummvm/drascula/audio',
]
/** nexuiz-music and ufoai-sound: zip files. */
const MUSIC_ARCHIVE = '/usr/share/games/nexuiz/data/music.pk3'
const EFFECTS_ARCHIVE = '/usr/share/games/ufoai/base/0snd.pk3'
const ATMOSPHERES = ['ufo_night_atm', 'city_abnd_ufoai_atm', 'arcticwind', 'waterfontain', 'sand-city', 'minepump03']
const EFFECT_FOLDERS = ['weapons', 'footsteps', 'doors', 'impact', 'misc']
const EVERY_EFFECT = 5
const VOICES: readonly VoiceKind[] = ['acted', 'prompts', 'acted', 'read', 'acted', 'prompts', 'acted']
const MUSIC_NAME = /\.(?:ogg|opus|mp3)$/

export type Excerpt = { readonly path: string; readonly startSeconds: number; readonly seconds: number }

/** The sounds of the archives, in a folder that is removed when done with. */
export class Material {
  readonly excerpts: readonly Excerpt[]
  readonly #folder = mkdtempSync(join(tmpdir(), 'plimsoll-roles-'))
  readonly #atmospheres: readonly Float32Array[]
  readonly #effects: readonly Float32Array[]
  readonly #voices: readonly Float32Array[]

  constructor() {
    for (const archive of [MUSIC_ARCHIVE, EFFECTS_ARCHIVE]) {
      if (!existsSync(archive))
        throw new Error(`no ${archive}: install the Debian packages nexuiz-music and ufoai-sound`)
      execFileSync('/usr/bin/python3', ['-m', 'zipfile', '-e', archive, this.#folder])
    }
    const sound = join(this.#folder, 'sound')
    const mono = (path: string) => recording(path, 1)[0]!
    this.#atmospheres = ATMOSPHERES.map((name) => atLevel([mono(join(sound, 'ambience', `${name}.ogg`))])[0]!)
    this.#effects = EFFECT_FOLDERS.flatMap((folder) => filesIn(join(sound, folder)))
      .filter((_, index) => index % EVERY_EFFECT === 0)
      .map(mono)
    this.#voices = VOICES.map((kind, index) => {
      return Float32Array.from(spokenTrack('held-out', kind, EXCERPT_SECONDS, 7001 + index).samples)
    })
    this.excerpts = [...FOLDERS, this.#folder].flatMap(filesIn).filter(isOutside(sound)).flatMap(excerptsOf)
  }

  remove(): void {
    rmSync(this.#folder, { recursive: true })
  }

  /** Two tracks of music. */
  music({ path, startSeconds, seconds }: Excerpt): Planes {
    const planes = recording(path, 2, RATE, startSeconds + seconds)
    return atLevel(planes.map((plane) => plane.slice(startSeconds * RATE, (startSeconds + seconds) * RATE)))
  }

  voice(index: number, frameCount: number): Float32Array {
    return this.#voices[index % this.#voices.length]!.slice(0, frameCount)
  }

  /** Two recorded places, one a side, and effects in one of them or in both. */
  ambience(index: number, frameCount: number): Planes {
    const planes = [0, 1].map((side) => {
      const place = this.#atmospheres[(index + side * (index % 3)) % this.#atmospheres.length]!
      const plane = new Float32Array(frameCount)
      for (let n = 0, from = side * (place.length >> 1); n < frameCount; n++, from++) {
        if (from >= place.length) from = 0
        plane[n] = 0.5 * place[from]!
      }
      return plane
    })
    let at = RATE
    for (let count = index; at < frameCount; count++) {
      const effect = this.#effects[count % this.#effects.length]!
      for (const [side, plane] of planes.entries()) {
        if (count % 3 === side) continue
        for (let n = 0; n < effect.length && at + n < frameCount; n++) plane[at + n]! += 0.3 * effect[n]!
      }
      at += effect.length + RATE * (1 + (count % 4))
    }
    return planes
  }
}

const isOutside = (folder: string) => (path: string) => !path.startsWith(folder)

function filesIn(folder: string): string[] {
  return readdirSync(folder, { recursive: true, encoding: 'utf8' })
    .filter((name) => MUSIC_NAME.test(name))
    .sort()
    .map((name) => join(folder, name))
}

function excerptsOf(path: string): Excerpt[] {
  const asked = ['-show_entries', 'format=duration:stream=channels', '-of', 'csv=p=0', path]
  const [channels, duration] = execFileSync('ffprobe', ['-v', 'error', ...asked], { encoding: 'utf8' }).split('\n')
  const whole = Math.floor(Number(duration))
  if (Number(channels) !== 2 || whole < SHORTEST_PIECE_SECONDS) return []
  const seconds = Math.min(EXCERPT_SECONDS, whole)
  const first = { path, startSeconds: Math.floor((whole - seconds) / 4), seconds }
  return whole < LONG_PIECE_SECONDS ? [first] : [first, { ...first, startSeconds: first.startSeconds + whole / 2 }]
}

function atLevel(planes: Planes): Planes {
  const power = planes.reduce((sum, plane) => sum + plane.reduce((all, x) => all + x * x, 0) / plane.length, 0)
  const rms = Math.sqrt(power / planes.length)
  return planes.map((plane) => gained(plane, LEVEL_RMS / Math.max(rms, 1e-6)))
}
