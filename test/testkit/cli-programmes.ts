// Programmes for the command: real music and recorded speech of Debian packages, mixed by FFmpeg.
import { execFileSync } from 'node:child_process'
import { join } from 'node:path'

/** Debian package singularity-music (CC BY-SA 3.0). */
const MUSIC = '/usr/share/games/singularity/music'
/** Debian package asterisk-core-sounds-en-wav (CC BY-SA 3.0). */
const SPEECH = '/usr/share/asterisk/sounds/en_US_f_Allison'

export type Mix = {
  readonly music?: string
  readonly musicDb?: number
  readonly speechDb?: number
  readonly fromSeconds?: number
  readonly seconds?: number
  readonly sampleRateHz?: number
  readonly codec?: 'pcm_s24le' | 'pcm_s16le' | 'pcm_f32le' | 'flac'
  /** Level of white noise up to half the rate, different in the two tracks; 0 is none. */
  readonly hiss?: number
  /** An FFmpeg filter on the finished mix. */
  readonly finish?: string
}

/** FFmpeg without a word, and with the same bytes on every run. */
export function ffmpeg(...args: readonly string[]): void {
  execFileSync('ffmpeg', ['-v', 'error', '-y', '-bitexact', ...args], { stdio: ['ignore', 'ignore', 'inherit'] })
}

/** A stereo master: music with speech in the middle of it. Gives its path. */
export function mixMaster(path: string, mix: Mix = {}): string {
  const { music = 'Media Threat', musicDb = -12, speechDb = 6, fromSeconds = 30, seconds = 30 } = mix
  const { sampleRateHz = 48000, codec = 'pcm_s24le', hiss = 0, finish = 'anull' } = mix
  const graph = [
    `[0:a]volume=${musicDb}dB[m]`,
    // Two announcements, one after the other, after two seconds of music alone.
    `[1:a][2:a]concat=n=2:v=0:a=1,aresample=48000,volume=${speechDb}dB,adelay=2000,pan=stereo|c0=c0|c1=c0,apad[s]`,
    `[m][s]amix=inputs=2:duration=first:normalize=0,${finish},aresample=${sampleRateHz}[dry]`,
    '[3:a][4:a]join=inputs=2:channel_layout=stereo[h]',
    '[dry][h]amix=inputs=2:duration=first:normalize=0[o]',
  ]
  const speech = ['demo-congrats', 'basic-pbx-ivr-main'].flatMap((name) => ['-i', join(SPEECH, `${name}.wav`)])
  const noise = [1, 2].flatMap((seed) => {
    return [
      '-f',
      'lavfi',
      '-i',
      `anoisesrc=sample_rate=${sampleRateHz}:amplitude=${hiss}:seed=${seed}:duration=${seconds}`,
    ]
  })
  const from = ['-ss', `${fromSeconds}`, '-t', `${seconds}`, '-i', join(MUSIC, `${music}.ogg`)]
  const out = codec === 'flac' ? ['-c:a', 'flac', '-sample_fmt', 's32', '-bits_per_raw_sample', '24'] : ['-c:a', codec]
  ffmpeg(
    ...from,
    ...speech,
    ...noise,
    '-filter_complex',
    graph.join(';'),
    '-map',
    '[o]',
    '-ar',
    `${sampleRateHz}`,
    ...out,
    path,
  )
  return path
}
