// Real voices over real music, where it is known who speaks when: what the speech detector is judged by.
import { execFileSync } from 'node:child_process'
import { readdirSync, statSync } from 'node:fs'
import { basename, join } from 'node:path'
import { seededRandom } from './programmes.ts'

const RATE = 48000
const HOP = RATE / 10
const FINE_HOP = RATE / 100

/** Acted lines (Czech), telephone prompts (English, 8 kHz), a read novel and read card games (English). */
export type VoiceKind = 'acted' | 'prompts' | 'read'

/** Thresholds were chosen on `tuning` alone; nothing of `held-out` was listened to before. */
export type SpokenSet = 'tuning' | 'held-out'

const ACTED = '/usr/share/games/fillets-ng/sound'
const PROMPTS = '/usr/share/asterisk/sounds/en_US_f_Allison'
const READ = ['librivox', 'cards'].map((folder) => `/usr/share/pocketsphinx/test/data/${folder}`)
const MUSIC = '/usr/share/games/singularity/music'
/** Prompts that are tones or noises, not words. */
const WORDLESS = /beep|tt-monkeys|tt-weasels|ascending|descending|conf-(?:getpin|has)|ring|silence|chime/

/** Sounds that are not spoken by the two actors: geese, machines, crowds. */
const BEASTS = /-x-/

const sorted = (folder: string) => readdirSync(folder).sort()
const isFile = (path: string) => statSync(path).isFile()

/** Alternate scenes, prompts and tracks go to one set and to the other. The read voices are few: all are held out. */
function half<T>(items: readonly T[], set: SpokenSet): T[] {
  return items.filter((_, index) => (index % 2 === 0) === (set === 'tuning'))
}

function voiceFiles(kind: VoiceKind, set: SpokenSet): string[] {
  if (kind === 'acted') {
    const scenes = sorted(ACTED).filter((scene) => sorted(join(ACTED, scene)).includes('cs'))
    return half(scenes, set).flatMap((scene) =>
      sorted(join(ACTED, scene, 'cs'))
        .filter((name) => !BEASTS.test(name))
        .map((name) => join(ACTED, scene, 'cs', name)),
    )
  }
  if (kind === 'prompts') {
    const paths = sorted(PROMPTS).map((name) => join(PROMPTS, name))
    return half(
      paths.filter((path) => isFile(path) && path.endsWith('.wav') && !WORDLESS.test(basename(path))),
      set,
    )
  }
  if (set === 'tuning') return []
  return READ.flatMap((folder) => sorted(folder).map((name) => join(folder, name))).filter((path) =>
    path.endsWith('.wav'),
  )
}

/** Names of the music tracks of a set. */
export function tracksOf(set: SpokenSet): string[] {
  return half(
    sorted(MUSIC).filter((name) => name.endsWith('.ogg')),
    set,
  )
}

function decode(path: string, channelCount: number, startSeconds: number, seconds: number): Float32Array {
  const part = ['-ss', String(startSeconds), '-t', String(seconds)]
  const out = ['-af', `aresample=${RATE}:resampler=soxr`, '-ac', String(channelCount), '-f', 'f32le', '-']
  const raw = execFileSync('ffmpeg', ['-v', 'error', ...part, '-i', path, ...out], { maxBuffer: 2 ** 30 })
  return new Float32Array(new Uint8Array(raw).buffer)
}

/** How far a voice may fall below its active level and still count. @source ITU-T P.56, method B (from memory) */
const ACTIVE_MARGIN_DB = 15.9

/** Pauses shorter than this belong to the line. */
const LONGEST_PAUSE_FINE_HOPS = 30

/** Power of a voice while it sounds, and the fine hops (10 ms) in which it does, short pauses closed. */
function activity(voice: Float32Array): { readonly power: number; readonly isActive: readonly boolean[] } {
  const powers = Array.from({ length: Math.floor(voice.length / FINE_HOP) }, (_, hop) => {
    let sum = 0
    for (let i = hop * FINE_HOP; i < (hop + 1) * FINE_HOP; i++) sum += voice[i]! ** 2
    return sum / FINE_HOP
  })
  const margin = 10 ** (-ACTIVE_MARGIN_DB / 10)
  const mean = (kept: readonly number[]) => kept.reduce((sum, power) => sum + power, 0) / Math.max(1, kept.length)
  let power = mean(powers)
  for (let round = 0; round < 8; round++) power = mean(powers.filter((hopPower) => hopPower >= power * margin))
  const isActive = powers.map((hopPower) => hopPower >= power * margin)
  let last = -1
  for (const [hop, isHere] of isActive.entries()) {
    if (!isHere) continue
    if (last >= 0 && hop - last <= LONGEST_PAUSE_FINE_HOPS) isActive.fill(true, last, hop)
    last = hop
  }
  return { power, isActive }
}

/** RMS of a sounding line, full scale = 1: -26 dBFS. */
const VOICE_RMS = 0.05

export type SpokenTrack = {
  readonly samples: Float64Array
  /** 1 on each whole 100 ms of which at least half is voice. */
  readonly truth100ms: Uint8Array
}

/** Lines one after the other, 0.4 to 6 s apart, all equally loud, at 48 kHz. */
export function spokenTrack(set: SpokenSet, kind: VoiceKind, seconds: number, seed: number): SpokenTrack {
  const random = seededRandom(seed)
  const frames = Math.floor(seconds * RATE)
  const samples = new Float64Array(frames)
  const isVoiced = new Uint8Array(Math.floor(frames / FINE_HOP))
  const files = voiceFiles(kind, set)
  for (let at = RATE; ; ) {
    const line = decode(files[Math.floor(random() * files.length)]!, 1, 0, 60)
    const { power, isActive } = activity(line)
    const gain = VOICE_RMS / Math.sqrt(power)
    const start = Math.round(at / FINE_HOP) * FINE_HOP
    if (start + line.length > frames) break
    for (let i = 0; i < line.length; i++) samples[start + i] = gain * line[i]!
    for (const [hop, isHere] of isActive.entries()) if (isHere) isVoiced[start / FINE_HOP + hop] = 1
    at = start + line.length + RATE * (random() < 0.6 ? 0.4 + 1.6 * random() : 2 + 4 * random())
  }
  const truth100ms = Uint8Array.from({ length: Math.floor(frames / HOP) }, (_, hop) => {
    let count = 0
    for (let fine = hop * 10; fine < hop * 10 + 10; fine++) count += isVoiced[fine] ?? 0
    return count >= 5 ? 1 : 0
  })
  return { samples, truth100ms }
}

export type MusicTrack = { readonly left: Float64Array; readonly right: Float64Array }

/** One piece of music from its 20th second on, at the level of a sounding line in the mid. */
export function musicTrack(name: string, seconds: number): MusicTrack {
  const music = decode(join(MUSIC, name), 2, 20, seconds)
  const frames = Math.floor(seconds * RATE)
  let sum = 0
  for (let i = 0; i < frames; i++) sum += (((music[2 * i] ?? 0) + (music[2 * i + 1] ?? 0)) / 2) ** 2
  const gain = VOICE_RMS / Math.sqrt(sum / frames)
  const channel = (index: number) => Float64Array.from({ length: frames }, (_, i) => gain * (music[2 * i + index] ?? 0))
  return { left: channel(0), right: channel(1) }
}

/** The voice alike in both tracks over the music; the voice is this many dB above the music, both in the mid. */
export function voiceOver({ samples }: SpokenTrack, music: MusicTrack, voiceOverMusicDb: number): Float64Array[] {
  const gain = 10 ** (-voiceOverMusicDb / 20)
  return [music.left, music.right].map((channel) => samples.map((sample, i) => sample + gain * channel[i]!))
}
