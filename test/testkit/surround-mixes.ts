// 5.1 programmes of real music and real voices: mixed for 5.1, and made from two tracks, as it is known of each.
import { execFileSync } from 'node:child_process'
import { readdirSync } from 'node:fs'
import { join } from 'node:path'
import { deinterleaved, recording } from './inspected.ts'

const RATE = 48000
const MUSIC = '/usr/share/games/singularity/music'
const PROMPTS = '/usr/share/asterisk/sounds/en_US_f_Allison'
const PIPE_BYTES = 1 << 28

export type Planes = readonly Float32Array[]

export function musicFrom(name: string, startSeconds: number, seconds: number): Planes {
  const planes = recording(join(MUSIC, `${name}.ogg`), 2, RATE, startSeconds + seconds)
  return planes.map((plane) => plane.subarray(startSeconds * RATE))
}

/** Prompts whose names begin so, one after the other with pauses. */
export function voices(prefix: string, seconds: number): Float32Array {
  const speech = new Float32Array(seconds * RATE)
  const names = readdirSync(PROMPTS)
    .filter((name) => name.startsWith(prefix) && name.endsWith('.wav'))
    .sort()
  let at = RATE
  for (let index = 0; at < speech.length; index++) {
    const [line] = recording(join(PROMPTS, names[index % names.length]!), 1, RATE, 8)
    speech.set(line!.subarray(0, Math.max(0, speech.length - at)), at)
    at += line!.length + (index % 3 === 2 ? 3 : 0.4) * RATE
  }
  return speech
}

export const gained = (plane: Float32Array, gain: number) => plane.map((sample) => gain * sample)

export function sum(...planes: readonly Float32Array[]): Float32Array {
  const total = planes[0]!.slice()
  for (const plane of planes.slice(1)) for (let n = 0; n < total.length; n++) total[n]! += plane[n]!
  return total
}

export function delayed(plane: Float32Array, ms: number): Float32Array {
  const late = new Float32Array(plane.length)
  late.set(plane.subarray(0, plane.length - Math.round((ms * RATE) / 1000)), Math.round((ms * RATE) / 1000))
  return late
}

/** Two planes through effects of SoX. */
export function throughSox(planes: Planes, ...effects: readonly string[]): Float32Array[] {
  const [left, right] = planes as readonly [Float32Array, Float32Array]
  const input = new Float32Array(2 * left.length)
  for (let n = 0; n < left.length; n++) {
    input[2 * n] = left[n]!
    input[2 * n + 1] = right[n]!
  }
  const raw = ['-t', 'raw', '-e', 'float', '-b', '32', '-c', '2', '-r', String(RATE)]
  const options = { input: Buffer.from(input.buffer), maxBuffer: PIPE_BYTES }
  const bytes = execFileSync('sox', ['-V1', '-R', ...raw, '-', ...raw, '-', ...effects], options)
  return deinterleaved(bytes, 2).map((plane) => plane.subarray(0, left.length))
}

/** The low end of two planes, steep above 80 Hz, as an LFE carries it. */
export function lowEnd(planes: Planes): Float32Array {
  const both = sum(planes[0]!, planes[1]!)
  return throughSox([both, both], 'lowpass', '80', 'lowpass', '80', 'lowpass', '80')[0]!
}
