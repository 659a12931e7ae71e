// Programmes whose borders are known because they were joined there, and whole pieces of music, out of Debian packages.
import { existsSync } from 'node:fs'
import { join } from 'node:path'
import { recording } from '../../test/testkit/inspected.ts'
import { seededRandom } from '../../test/testkit/programmes.ts'
import { spokenTrack, voiceOver } from '../../test/testkit/spoken-programmes.ts'

export const RATE = 48000
const MUSIC = '/usr/share/games/singularity/music'
const LEVEL_RMS = 0.05
const LEVEL_SPREAD_DB = 10
const SHORTEST_SECONDS = 28
const LONGEST_SECONDS = 56
/** What is left of a piece behind an excerpt: its end may fade. */
const END_SECONDS = 5
const SILENCE_SECONDS = 5
const VOICE_OVER_MUSIC_DB = 8
const VOICED = 0.01
const JOINED_PROGRAMMES = 6

type Planes = readonly (Float32Array | Float64Array)[]

export type Programme = { readonly name: string; readonly planes: Planes; readonly bordersSeconds: readonly number[] }

type Pool = {
  readonly pieces: readonly string[]
  readonly voices: 'tuning' | 'held-out'
  readonly kind: 'acted' | 'prompts'
  readonly firstSeed: number
}

export const POOLS = {
  tuning: {
    pieces: [
      'Aberrations',
      'Advanced Simulacra',
      'Awakening',
      'By-Product',
      'Coherence',
      'Deprecation',
      'Inevitable',
      'Nebula',
    ],
    voices: 'tuning',
    kind: 'acted',
    firstSeed: 100,
  },
  'held-out': {
    pieces: ['A New Journey', 'Enemy Unknown', 'Media Threat', 'Orbital Elevator', 'Through Space', 'win/Apex Aleph'],
    voices: 'held-out',
    kind: 'prompts',
    firstSeed: 900,
  },
} as const satisfies Readonly<Record<string, Pool>>

export function* programmesOf(pool: Pool): Generator<Programme> {
  for (const piece of pool.pieces) yield { name: piece, planes: whole(piece), bordersSeconds: [] }
  for (let index = 0; index < JOINED_PROGRAMMES; index++) yield joined(pool, index)
}

function whole(piece: string): Planes {
  const path = join(MUSIC, `${piece}.ogg`)
  if (!existsSync(path)) throw new Error(`no "${path}": install the Debian package singularity-music`)
  return recording(path, 2, RATE)
}

/** Music A, music B, voices over music, voices alone on both tracks, silence, music C, music D; hard cuts. */
function joined(pool: Pool, index: number): Programme {
  const random = seededRandom(pool.firstSeed + index)
  const seconds = () => SHORTEST_SECONDS + (LONGEST_SECONDS - SHORTEST_SECONDS) * random()
  let last = ''
  const piece = () => {
    const before = last
    while (last === before) last = pool.pieces[Math.floor(random() * pool.pieces.length)]!
    return whole(last)
  }
  const music = (length?: number) => {
    const planes = piece()
    return levelled(excerpt(planes, length ?? seconds(), random), random)
  }
  const opening = [music(), music()]
  const overSeconds = seconds()
  const [left, right] = music(overSeconds).map((plane) => Float64Array.from(plane)) as [Float64Array, Float64Array]
  const lines = spokenTrack(pool.voices, pool.kind, overSeconds, 10 + index)
  const voiceAlone = trimmed(spokenTrack(pool.voices, pool.kind, seconds() + 4, 30 + index).samples)
  const silence = new Float64Array(SILENCE_SECONDS * RATE)
  const pieces = [
    ...opening,
    voiceOver(lines, { left, right }, VOICE_OVER_MUSIC_DB),
    [voiceAlone, voiceAlone],
    [silence, silence],
    music(),
    music(),
  ]
  return { name: `joined ${index}`, ...oneAfterTheOther(pieces) }
}

function excerpt(planes: Planes, seconds: number, random: () => number): Planes {
  const length = Math.round(seconds * RATE)
  const from = Math.floor(random() * Math.max(0, planes[0]!.length - length - END_SECONDS * RATE))
  return planes.map((plane) => plane.subarray(from, from + length))
}

/** At -26 dBFS in the mid, give or take 5 dB. */
function levelled([left, right]: Planes, random: () => number): Planes {
  let sum = 0
  for (let n = 0; n < left!.length; n++) sum += ((left![n]! + right![n]!) / 2) ** 2
  const level = LEVEL_RMS * 10 ** ((random() - 0.5) * (LEVEL_SPREAD_DB / 20))
  const gain = level / Math.sqrt(sum / left!.length)
  return [left!, right!].map((plane) => Float64Array.from(plane, (value) => value * gain))
}

function trimmed(samples: Float64Array): Float64Array {
  const isVoiced = (value: number) => Math.abs(value) > VOICED
  return samples.subarray(samples.findIndex(isVoiced), samples.findLastIndex(isVoiced))
}

function oneAfterTheOther(pieces: readonly Planes[]): Pick<Programme, 'planes' | 'bordersSeconds'> {
  const frames = pieces.reduce((sum, [plane]) => sum + plane!.length, 0)
  const planes = [new Float64Array(frames), new Float64Array(frames)]
  const bordersSeconds: number[] = []
  let at = 0
  for (const piece of pieces) {
    if (at > 0) bordersSeconds.push(at / RATE)
    for (const [channel, plane] of piece.entries()) planes[channel]!.set(plane, at)
    at += piece[0]!.length
  }
  return { planes, bordersSeconds }
}
