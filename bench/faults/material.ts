// Real programmes made of what Debian packages carry: music as it is, reels of effects, voices, and mixes of them.
import { execFileSync } from 'node:child_process'
import { existsSync, mkdtempSync, readdirSync, renameSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { basename, join } from 'node:path'
import type { LayoutName } from '../../src/domain/index.ts'
import { recording } from '../../test/testkit/inspected.ts'

export type Sound = {
  readonly layout: LayoutName
  readonly sampleRateHz: number
  /** In channel order, on the grid of 24-bit words. */
  readonly planes: readonly Float32Array[]
}

export type Programme = {
  readonly name: string
  readonly sort: 'music' | 'effects' | 'speech' | 'mix'
  /** Whether a lossy coder, or a rate below 32 kHz, has been over all of it: then a band limit is true. */
  readonly isCoded: boolean
  read(): Sound
}

/**
 * Rules were chosen on `tuned`; `held-out` was then searched once, and what it showed was mended; `fresh` was searched
 * after the last mend.
 */
export type SetName = 'tuned' | 'held-out' | 'fresh'

const REEL_RATE = 48000
const REEL_SECONDS = 600
const GAP_SECONDS = 0.4
/** What an editor lays at both ends of a sound, so that the cut is none. */
const FADE_SECONDS = 0.005
const LONGEST_EFFECT_SECONDS = 20
/** Rates of delivery are kept; lower ones are converted by libsoxr. */
const KEPT_RATES = [44100, 48000]
const STEPS_PER_FULL_SCALE = 2 ** 23
/** A decoded track that goes beyond full scale is turned down to here: whole numbers would have clipped it. */
const HIGHEST_PEAK = 0.999

const SINGULARITY = '/usr/share/games/singularity/music'
const DRASCULA = '/usr/share/scummvm/drascula/audio'
const WESNOTH = '/usr/share/games/wesnoth/1.16/data/core/music'
const WARZONE = '/usr/share/games/warzone2100/music'
const ACTED = '/usr/share/games/fillets-ng/sound'
const PROMPTS = '/usr/share/asterisk/sounds/en_US_f_Allison'
const NEXUIZ = '/usr/share/games/nexuiz/data/music.pk3'
const UFOAI = '/usr/share/games/ufoai/base/0snd.pk3'
const OPENARENA = '/usr/share/games/openarena/baseoa/pak0.pk3'

const PACKAGES = {
  [SINGULARITY]: 'singularity-music',
  [DRASCULA]: 'drascula-music',
  [WESNOTH]: 'wesnoth-1.16-music',
  [WARZONE]: 'warzone2100-music',
  [ACTED]: 'fillets-ng-data-cs',
  [PROMPTS]: 'asterisk-core-sounds-en-wav',
  [NEXUIZ]: 'nexuiz-music',
  [UFOAI]: 'ufoai-sound',
  [OPENARENA]: 'openarena-data',
}

function installed(path: keyof typeof PACKAGES): string {
  if (!existsSync(path)) throw new Error(`no "${path}": install the Debian package ${PACKAGES[path]}`)
  return path
}

/** The sounds of a zip file, unpacked once. */
function unpacked(archive: typeof NEXUIZ | typeof UFOAI | typeof OPENARENA): string {
  const folder = join(tmpdir(), `plimsoll-bench-${PACKAGES[archive]}`)
  if (existsSync(folder)) return folder
  const unfinished = mkdtempSync(`${folder}-`)
  execFileSync('unzip', ['-q', installed(archive), 'sound/*', '-d', unfinished])
  renameSync(unfinished, folder)
  return folder
}

function filesUnder(folder: string, ending: RegExp, part = ''): string[] {
  return readdirSync(folder, { recursive: true, encoding: 'utf8' })
    .filter((name) => ending.test(name) && name.includes(part))
    .toSorted()
    .map((name) => join(folder, name))
}

function rateOf(path: string): number {
  const args = ['-v', 'error', '-select_streams', 'a:0', '-show_entries', 'stream=sample_rate', '-of', 'csv=p=0', path]
  return Number.parseInt(execFileSync('ffprobe', args, { encoding: 'utf8' }), 10)
}

function track(path: string): Sound {
  const own = rateOf(path)
  const sampleRateHz = KEPT_RATES.includes(own) ? own : REEL_RATE
  return { layout: '2.0', sampleRateHz, planes: inWords(recording(path, 2, sampleRateHz)) }
}

/** Turned down where whole numbers could not hold it, and rounded to words of 24 bits. */
function inWords(planes: readonly Float32Array[]): Float32Array[] {
  const peak = planes.reduce((most, plane) => plane.reduce((top, x) => Math.max(top, Math.abs(x)), most), 0)
  const gain = peak > HIGHEST_PEAK ? HIGHEST_PEAK / peak : 1
  return planes.map((plane) => plane.map((x) => Math.round(gain * x * STEPS_PER_FULL_SCALE) / STEPS_PER_FULL_SCALE))
}

/** Sounds one after the other with rounded ends and a pause between them, at alternate places of the stereo picture. */
function laid(paths: readonly string[], channelCount: 1 | 2, seconds = REEL_SECONDS): Float32Array[] {
  const planes = Array.from({ length: channelCount }, () => new Float32Array(seconds * REEL_RATE))
  const fade = Math.round(FADE_SECONDS * REEL_RATE)
  let at = 0
  for (const path of paths) {
    const sounds = recording(path, channelCount, REEL_RATE, LONGEST_EFFECT_SECONDS)
    const frames = sounds[0]?.length ?? 0
    if (at + frames > seconds * REEL_RATE) break
    for (const [channel, sound] of sounds.entries()) {
      const plane = planes[channel] as Float32Array
      for (let n = 0; n < frames; n++) {
        plane[at + n] = (sound[n] as number) * Math.min(1, n / fade, (frames - 1 - n) / fade)
      }
    }
    at += frames + Math.round(GAP_SECONDS * REEL_RATE)
  }
  return planes.map((plane) => plane.subarray(0, at))
}

/** An atmosphere, or a piece of music, over and over with its ends cross-faded. */
function bed(path: string, frames: number, gain: number): Float32Array[] {
  const sounds = recording(path, 2, REEL_RATE)
  const own = sounds[0]?.length ?? 0
  const fade = Math.min(REEL_RATE, own >> 2)
  const period = own - fade
  return sounds.map((sound) =>
    Float32Array.from({ length: frames }, (_, n) => {
      const at = n % period
      const into = Math.min(1, at / fade)
      const end = at < fade && n >= period ? Math.sqrt(1 - into) * (sound[at + period] as number) : 0
      return gain * (n < period ? (sound[at] as number) : Math.sqrt(into) * (sound[at] as number) + end)
    }),
  )
}

function over(planes: readonly Float32Array[], beds: readonly Float32Array[], gain = 1): Float32Array[] {
  return planes.map((plane, channel) => plane.map((x, n) => gain * x + ((beds[channel] as Float32Array)[n] ?? 0)))
}

const reel = (planes: readonly Float32Array[], layout: LayoutName): Sound => ({
  layout,
  sampleRateHz: REEL_RATE,
  planes: inWords(planes),
})

function tracks(paths: readonly string[]): Programme[] {
  return paths.map((path) => ({ name: basename(path), sort: 'music', isCoded: true, read: () => track(path) }))
}

/** Effects over an atmosphere, as in a premix; and alone on digital silence, as a stem holds them. */
function reels(name: string, paths: readonly string[], atmosphere: string, isCoded: boolean): Programme[] {
  const sort = 'effects' as const
  const premix = () => {
    const effects = laid(paths, 2)
    return reel(over(effects, bed(atmosphere, (effects[0] as Float32Array).length, 0.3)), '2.0')
  }
  return [
    { name: `${name}, premix`, sort, isCoded: true, read: premix },
    { name: `${name}, stem`, sort, isCoded, read: () => reel(laid(paths, 2), '2.0') },
  ]
}

function voices(name: string, paths: readonly string[]): Programme {
  return { name, sort: 'speech', isCoded: true, read: () => reel(laid(paths, 1), 'mono') }
}

type Stems = { readonly voices: readonly string[]; readonly effects: readonly string[]; readonly music: string }

/** Dialogue in the middle, effects and music around it: as two-track and as 5.1 with an LFE. */
function mixes(name: string, { voices, effects, music }: Stems): Programme[] {
  const stems = () => {
    const spoken = laid(voices, 1)[0] as Float32Array
    const frames = spoken.length
    const hits = laid(effects, 2).map((plane) => Float32Array.from({ length: frames }, (_, n) => plane[n] ?? 0))
    return { spoken, hits, score: bed(music, frames, 0.35) }
  }
  const stereo = () => {
    const { spoken, hits, score } = stems()
    return reel(over(over([spoken, spoken], hits, 0.7), score), '2.0')
  }
  const surround = () => {
    const { spoken, hits, score } = stems()
    const [left, right] = over(hits, score, 0.5) as [Float32Array, Float32Array]
    const delay = Math.round(0.023 * REEL_RATE)
    const back = hits.map((plane, side) => {
      const music = score[1 - side] as Float32Array
      return plane.map((_, n) => 0.4 * (plane[n - delay] ?? 0) + 0.5 * (music[n - delay] ?? 0))
    })
    return reel([left, right, spoken, lowPassed(hits), ...back], '5.1')
  }
  return [
    { name: `${name}, two-track`, sort: 'mix', isCoded: true, read: stereo },
    { name: `${name}, 5.1`, sort: 'mix', isCoded: true, read: surround },
  ]
}

/** Two poles at 100 Hz. */
function lowPassed([left, right]: readonly Float32Array[]): Float32Array {
  const share = 1 - Math.exp((-2 * Math.PI * 100) / REEL_RATE)
  let [first, second] = [0, 0]
  return (left as Float32Array).map((x, n) => {
    first += share * (x + ((right as Float32Array)[n] as number) - first)
    second += share * (first - second)
    return second
  })
}

function shuffled<T>(items: readonly T[], parts: number, part: number): T[] {
  return items.filter((_, index) => index % parts === part)
}

const tuned = (): Programme[] => {
  const effects = filesUnder(unpacked(UFOAI), /\.ogg$/)
  const ambience = filesUnder(unpacked(UFOAI), /atm.*\.ogg$/)
  const acted = filesUnder(installed(ACTED), /\.ogg$/, '/cs/')
  const music = filesUnder(installed(SINGULARITY), /\.ogg$/)
  return [
    ...tracks([...music, ...filesUnder(installed(DRASCULA), /\.ogg$/)]),
    ...reels('ufoai-sound A', shuffled(effects, 2, 0), ambience[0] as string, true),
    voices('fillets-ng-data-cs A', shuffled(acted, 8, 0)),
    ...mixes('A', { voices: shuffled(acted, 8, 1), effects: shuffled(effects, 2, 0), music: music[3] as string }),
  ]
}

const heldOut = (): Programme[] => {
  const effects = filesUnder(unpacked(UFOAI), /\.ogg$/)
  const ambience = filesUnder(unpacked(UFOAI), /atm.*\.ogg$/)
  const weapons = filesUnder(unpacked(OPENARENA), /\.wav$/)
  const acted = filesUnder(installed(ACTED), /\.ogg$/, '/cs/')
  const prompts = filesUnder(installed(PROMPTS), /\.wav$/)
  const rock = filesUnder(unpacked(NEXUIZ), /\.ogg$/, 'cdtracks')
  const score = filesUnder(installed(WESNOTH), /\.ogg$/)
  return [
    ...tracks([...rock, ...score, ...shuffled(filesUnder(installed(WARZONE), /\.opus$/), 2, 0)]),
    ...reels('openarena-data', weapons, ambience[1] as string, true),
    ...reels('ufoai-sound B', shuffled(effects, 2, 1), ambience[2] as string, true),
    voices('fillets-ng-data-cs B', shuffled(acted, 8, 4)),
    voices('asterisk-core-sounds-en-wav', prompts),
    ...mixes('B', { voices: shuffled(acted, 8, 5), effects: weapons, music: score[2] as string }),
    ...mixes('C', { voices: prompts, effects: shuffled(effects, 2, 1), music: rock[4] as string }),
  ]
}

const fresh = (): Programme[] => {
  const acted = filesUnder(installed(ACTED), /\.ogg$/, '/cs/')
  const music = shuffled(filesUnder(installed(WARZONE), /\.opus$/), 2, 1)
  return [...tracks(music), voices('fillets-ng-data-cs C', shuffled(acted, 8, 6))]
}

export const SETS: Readonly<Record<SetName, () => readonly Programme[]>> = { tuned, 'held-out': heldOut, fresh }
