// Lt/Rt programmes whose four sources are known, made by NumPy and SciPy, and what a decoder makes of them.
import { execFileSync } from 'node:child_process'
import { readFileSync } from 'node:fs'
import { join } from 'node:path'
import { fileURLToPath } from 'node:url'
import { type Stereo, upmix } from './mixes.ts'

export const SOURCES = ['L', 'R', 'C', 'S'] as const
export type SourceName = (typeof SOURCES)[number]
type Channels = Readonly<Record<SourceName, Float64Array>>

export type ChannelFigures = {
  /** Energy of the source in its own channel over that in the worst other one. */
  readonly separationDb: number
  /** Level of the source in its own channel against what it was. */
  readonly levelDb: number
  /** Scale-invariant signal-to-distortion ratio of the channel, and what fixed weights reach. */
  readonly cleannessDb: number
  readonly passiveDb: number
}

export type MatrixProgramme = {
  readonly encoded: Stereo
  /** What each source puts into the two tracks. */
  readonly parts: Partial<Record<SourceName, Stereo>>
}

const SCRIPT = fileURLToPath(new URL('../quality/matrix-mixes.py', import.meta.url))
const K = Math.SQRT1_2
const SETTINGS = { kind: 'lt-rt' } as const

/** Makes a set (`tune`, `held`) of programmes; gives which sources each of them has. */
export function makeMatrixSet(
  set: string,
  folder: string,
  seconds: number,
  wanted: readonly string[] = [],
): Record<string, readonly SourceName[]> {
  execFileSync('/usr/bin/python3', [SCRIPT, set, folder, String(seconds), ...wanted])
  return JSON.parse(readFileSync(join(folder, 'programmes.json'), 'utf8'))
}

export function readProgramme(folder: string, name: string, sources: readonly SourceName[]): MatrixProgramme {
  const bytes = readFileSync(join(folder, `${name}.f32`))
  const planes = new Float32Array(bytes.buffer, bytes.byteOffset, bytes.length >> 2)
  const frameCount = planes.length / 10
  const pair = (first: number): Stereo => ({
    left: Float64Array.from(planes.subarray(first * frameCount, (first + 1) * frameCount)),
    right: Float64Array.from(planes.subarray((first + 1) * frameCount, (first + 2) * frameCount)),
  })
  const parts = sources.map((source) => [source, pair(2 + 2 * SOURCES.indexOf(source))])
  return { encoded: pair(0), parts: Object.fromEntries(parts) }
}

/** How well each source of a programme comes out in its channel; the surrounds count together. */
export function judgeDecoding({ encoded, parts }: MatrixProgramme): Partial<Record<SourceName, ChannelFigures>> {
  const whole = decoded(encoded)
  const passive = decodedPassively(encoded)
  const figures = Object.entries(parts).map(([name, part]) => {
    const own = name as SourceName
    const source = sourceOf(own, part)
    const sent = decoded(encoded, part)
    const worst = Math.max(...SOURCES.filter((other) => other !== own).map((other) => energy(sent[other])))
    return [
      own,
      {
        separationDb: db(energy(sent[own]) / (worst + 1e-30)),
        levelDb: db(energy(sent[own]) / energy(source)),
        cleannessDb: cleannessDb(whole[own], source),
        passiveDb: cleannessDb(passive[own], source),
      },
    ]
  })
  return Object.fromEntries(figures)
}

function decoded(tracks: Stereo, carried?: Stereo): Channels {
  const { left, right, centre, leftSurround, rightSurround } = upmix(tracks, SETTINGS, 48000, carried)
  const S = Float64Array.from(leftSurround, (ls, i) => ls + (rightSurround[i] as number))
  return { L: left, R: right, C: Float64Array.from(centre), S }
}

/** Fixed weights: C and S are sum and difference, and the fronts are the two tracks. */
function decodedPassively({ left, right }: Stereo): Channels {
  const of = (sign: 1 | -1) => left.map((l, i) => K * ((right[i] as number) + sign * l))
  return { L: left, R: right, C: of(1), S: of(-1) }
}

function sourceOf(name: SourceName, { left, right }: Stereo): Float64Array {
  if (name === 'L') return left
  return name === 'R' ? right : right.map((x) => x / K)
}

function energy(x: Float64Array): number {
  return x.reduce((sum, each) => sum + each * each, 0)
}

function db(ratio: number): number {
  return 10 * Math.log10(ratio)
}

function cleannessDb(x: Float64Array, source: Float64Array): number {
  const gain = x.reduce((sum, each, i) => sum + each * (source[i] as number), 0) / energy(source)
  const distortion = x.reduce((sum, each, i) => sum + (each - gain * (source[i] as number)) ** 2, 0)
  return db((gain * gain * energy(source)) / (distortion + 1e-30))
}
