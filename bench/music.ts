// Programmes made of the music in the Debian package singularity-music (CC BY-SA 3.0): real material, the same everywhere.
import { execFileSync } from 'node:child_process'
import { closeSync, existsSync, fsyncSync, openSync } from 'node:fs'
import { join } from 'node:path'

const MUSIC = '/usr/share/games/singularity/music'
export const MASTER_SECONDS = 600
export const FEATURE_SECONDS = 7200

const WIDE_RANGE = ['Advanced Simulacra', 'Coherence', 'Nebula']
/** Heavily limited: the hardest for a true-peak meter that skips what cannot peak. */
const DENSE = ['Enemy Unknown', 'Through Space', 'Awakening']

/** Ten minutes of stereo, wide in range. */
export function stereoMaster(folder: string): string {
  return joined(WIDE_RANGE, join(folder, 'master.wav'))
}

/** Ten minutes of stereo, densely limited. */
export function denseMaster(folder: string): string {
  return joined(DENSE, join(folder, 'dense.wav'))
}

function joined(tracks: readonly string[], path: string): string {
  const inputs = tracks.map((_, index) => `[${index}:a]`).join('')
  return ffmpeg(path, tracks, `${inputs}concat=n=${tracks.length}:v=0:a=1,atrim=0:${MASTER_SECONDS}[out]`)
}

/** Ten minutes of 5.1 from four tracks: L R, C and the surrounds of one each, a low-passed LFE. */
export function surroundMix(folder: string): string {
  const path = join(folder, 'surround.wav')
  const endless = (input: number) => `[${input}:a]aloop=loop=-1:size=30000000,aresample=48000`
  const graph = [
    `[0:a][1:a]concat=n=2:v=0:a=1,aresample=48000[fronts]`,
    `${endless(2)}[centre]`,
    `${endless(3)},lowpass=120[lfe]`,
    `${endless(4)},volume=0.5[surrounds]`,
    '[fronts][centre][lfe][surrounds]join=inputs=4:channel_layout=5.1' +
      ':map=0.0-FL|0.1-FR|1.0-FC|2.0-LFE|3.0-BL|3.1-BR,' +
      `atrim=0:${MASTER_SECONDS}[out]`,
  ]
  return ffmpeg(path, ['Advanced Simulacra', 'A New Journey', 'By-Product', 'Nebula', 'Inevitable'], graph.join(';'))
}

/** Two hours: a master over and over. */
export function feature(master: string, path: string): string {
  const args = ['-stream_loop', '-1', '-i', master, '-t', String(FEATURE_SECONDS), '-c', 'copy', '-rf64', 'auto', path]
  execFileSync('ffmpeg', ['-v', 'error', '-y', ...args])
  return settled(path)
}

function ffmpeg(path: string, tracks: readonly string[], graph: string): string {
  const inputs = tracks.flatMap((track) => ['-i', trackPath(track)])
  const output = ['-map', '[out]', '-ar', '48000', '-c:a', 'pcm_s24le', '-bitexact', path]
  execFileSync('ffmpeg', ['-v', 'error', '-y', ...inputs, '-filter_complex', graph, ...output])
  return settled(path)
}

function trackPath(track: string): string {
  const path = join(MUSIC, `${track}.ogg`)
  if (!existsSync(path)) throw new Error(`no "${path}": install the Debian package singularity-music`)
  return path
}

/** On the disk, so that writing it back does not disturb what is timed, and still in the page cache. */
function settled(path: string): string {
  const file = openSync(path, 'r+')
  fsyncSync(file)
  closeSync(file)
  return path
}
