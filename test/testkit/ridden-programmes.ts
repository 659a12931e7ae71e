// Real voices over real music that gets too loud, with hits planted in it: where a ride moves can be judged by ear-marks.
import { kWeighted } from './k-weighted.ts'
import { seededRandom } from './programmes.ts'
import { musicTrack, type SpokenTrack, spokenTrack, tracksOf, type VoiceKind } from './spoken-programmes.ts'

const RATE = 48000
const FINE_HOP = RATE / 100
export const RIDDEN_SECONDS = 120
const KINDS: readonly VoiceKind[] = ['acted', 'prompts', 'read']
/** Level of a sounding line, as in `spokenTrack`. */
const VOICE_RMS = 0.05
const HIT_SECONDS = 0.8
/** A hit falls by 30 dB in a second. */
const HIT_DECAY_DB_PER_SECOND = 30

export type RiddenProgramme = {
  /** K-weighted energies of both tracks in 10 ms. @source ITU-R BS.1770-5 Annex 1 */
  readonly energies10ms: Float64Array
  /** 1 on each 100 ms of which at least half is voice. */
  readonly truth100ms: Uint8Array
  /** The 10 ms in which each hit begins. */
  readonly hits: readonly number[]
}

/** Lines, music 6 to 12 dB below them, two scenes of music 12 to 18 dB louder, three hits 16 to 22 dB above the lines. */
export function riddenProgramme(index: number): RiddenProgramme {
  const random = seededRandom(100 + index)
  const voice = spokenTrack('held-out', KINDS[index % KINDS.length] as VoiceKind, RIDDEN_SECONDS, 7 + index)
  const tracks = withMusic(voice, index, random)
  const hits = [22.37, 66.81, 100.55].map((seconds) => Math.round((seconds + random()) * 100))
  for (const hit of hits) {
    const level = VOICE_RMS * Math.sqrt(3) * 10 ** ((16 + 6 * random()) / 20)
    for (let n = 0; n < HIT_SECONDS * RATE; n++) {
      const sample = level * 10 ** ((-HIT_DECAY_DB_PER_SECOND * n) / RATE / 20) * (2 * random() - 1)
      for (const track of tracks) track[hit * FINE_HOP + n] = (track[hit * FINE_HOP + n] as number) + sample
    }
  }
  const energies10ms = new Float64Array(RIDDEN_SECONDS * 100)
  for (const track of tracks) {
    for (const [i, sample] of kWeighted(track).entries()) {
      const hop = Math.floor(i / FINE_HOP)
      energies10ms[hop] = (energies10ms[hop] as number) + (sample * sample) / FINE_HOP
    }
  }
  return { energies10ms, truth100ms: voice.truth100ms, hits }
}

function withMusic(voice: SpokenTrack, index: number, random: () => number): Float64Array[] {
  const names = tracksOf('held-out')
  const music = musicTrack(names[index % names.length] as string, RIDDEN_SECONDS)
  const gain = new Float64Array(RIDDEN_SECONDS * RATE).fill(10 ** (-(6 + 6 * random()) / 20))
  for (const at of [40, 85]) {
    const end = at + 3 + 8 * random()
    const raisedDb = 12 + 6 * random()
    const isCut = random() < 0.5
    for (let i = at * RATE; i < end * RATE; i++) {
      const ramp = isCut ? 1 : Math.min(1, i / RATE - at, end - i / RATE)
      gain[i] = (gain[i] as number) * 10 ** ((raisedDb * ramp) / 20)
    }
  }
  return [music.left, music.right].map((channel) =>
    voice.samples.map((sample, i) => sample + (gain[i] as number) * (channel[i] as number)),
  )
}
