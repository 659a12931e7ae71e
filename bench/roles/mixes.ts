// Natural ways to mix 5.1, and errors that are made with one. Channel order L R C LFE Ls Rs.
import {
  defaultSettings,
  type RoleFault,
  segmentAt,
  segmentCount,
  steadyUpmix,
  UPMIX_PARAMETERS,
} from '../../src/domain/index.ts'
import { type Kernels, writeFronts } from '../../src/dsp/index.ts'
import { upmixSegment } from '../../src/engine/render/index.ts'
import { sourceOf } from '../../test/testkit/mixes.ts'
import { delayed, gained, lowEnd, type Planes, sum, throughSox } from '../../test/testkit/surround-mixes.ts'
import { RATE } from './material.ts'
import type { Part } from './planted.ts'

/** What a mix is made of: two tracks of music and of another piece, two of places and effects, a voice. */
export type Sounds = {
  readonly music: Planes
  readonly other: Planes
  readonly ambience: Planes
  readonly voice: Float32Array
}

export type Way = {
  readonly name: string
  readonly mix: (kernels: Kernels, sounds: Sounds) => Planes
  /** What the detector has to say of it as it is, because it is so. */
  readonly isSo?: RoleFault['kind']
  readonly lacks?: readonly Part[]
}

const pair = (planes: Planes, gain: number) => planes.map((plane) => gained(plane, gain))
const added = (a: Planes, b: Planes) => a.map((plane, side) => sum(plane, b[side]!))
const middle = ([left, right]: Planes) => gained(sum(left!, right!), 0.5)
const room = (planes: Planes, percent: number) => throughSox(planes, 'reverb', '-w', String(percent))
const silence = ([plane]: Planes) => new Float32Array(plane!.length)

/** Voices stand this far above the music of the fronts. */
const MUSIC_GAIN = 0.5

export const WAYS: readonly Way[] = [
  {
    name: 'voices in C, music in front, places and effects behind',
    mix: (_, { music, ambience, voice }) => {
      const fronts = pair(music, MUSIC_GAIN)
      return [...fronts, sum(voice, gained(ambience[0]!, 0.1)), lowEnd(fronts), ...ambience]
    },
  },
  {
    name: 'another piece behind, which leaks from the fronts',
    mix: (_, { music, other, voice }) => {
      const fronts = pair(music, MUSIC_GAIN)
      const surrounds = added(pair(fronts, 0.15), pair(other, 0.2))
      return [...fronts, sum(voice, gained(fronts[0]!, 0.1)), lowEnd(fronts), ...surrounds]
    },
  },
  {
    name: 'reverb of the music behind, some music in C',
    mix: (_, { music, voice }) => {
      const fronts = pair(music, MUSIC_GAIN)
      return [...fronts, sum(voice, gained(middle(fronts), 0.3)), lowEnd(fronts), ...pair(room(fronts, 60), 0.7)]
    },
  },
  {
    name: 'made from two tracks by the upmix',
    mix: (kernels, sounds) => upmixed(kernels, spoken(sounds)),
    lacks: ['LFE'],
  },
  {
    name: 'voices as a phantom between L and R, C silent',
    mix: (_, sounds) => {
      const fronts = spoken(sounds)
      return [...fronts, silence(fronts), lowEnd(fronts), ...pair(room(sounds.music, 60), 0.4)]
    },
    isSo: 'silent',
    lacks: ['C', 'voice'],
  },
  {
    name: 'four alike: the music as loud behind, 11 ms later, in a room',
    mix: (_, { music, voice }) => {
      const fronts = pair(music, MUSIC_GAIN)
      const late = fronts.map((plane) => delayed(plane, 11))
      return [...fronts, voice, lowEnd(fronts), ...added(pair(late, 0.7), pair(room(fronts, 40), 0.7))]
    },
  },
  {
    name: 'very wide fronts: the sides raised by 6 dB',
    mix: (_, { music, ambience, voice }) => {
      const [left, right] = pair(music, MUSIC_GAIN) as [Float32Array, Float32Array]
      const wide = [sum(gained(left, 1.5), gained(right, -0.5)), sum(gained(right, 1.5), gained(left, -0.5))]
      const surrounds = added(pair(room(wide, 60), 0.5), pair(ambience, 0.4))
      return [...wide, sum(voice, gained(middle(wide), 0.3)), lowEnd(wide), ...surrounds]
    },
  },
  {
    name: 'music alone: some of it in C, its room behind',
    mix: (_, { music }) => {
      return [...music, gained(middle(music), 0.5), lowEnd(music), ...pair(room(music, 80), 0.6)]
    },
    lacks: ['voice'],
  },
]

const spoken = ({ music, voice }: Sounds) => pair(music, MUSIC_GAIN).map((plane) => sum(plane, gained(voice, 0.7)))

/** Two tracks through the upmix as it comes, fronts less what went into C and the surrounds; no LFE. */
function upmixed(kernels: Kernels, tracks: Planes): Planes {
  const [left, right] = tracks.map((plane) => Float64Array.from(plane)) as [Float64Array, Float64Array]
  const source = sourceOf({ left, right }, RATE)
  const planes = Array.from({ length: 6 }, () => new Float32Array(left.length))
  const plan = steadyUpmix(defaultSettings(UPMIX_PARAMETERS))
  for (let index = 0; index < segmentCount(source.frameCount, RATE); index++) {
    const mark = kernels.arena.mark()
    const segment = segmentAt(index, source.frameCount, RATE)
    const made = upmixSegment(kernels, source, segment, plan)
    writeFronts(kernels, made, made, plan.settings.frontSpread, made)
    const from = segment.firstFrame - made.firstFrame
    for (const [channel, of] of Object.entries(PLACES)) {
      planes[Number(channel)]!.set(made[of].subarray(from, from + segment.frameCount), segment.firstFrame)
    }
    kernels.arena.release(mark)
  }
  return planes
}

const PLACES = { 0: 'left', 1: 'right', 2: 'centre', 4: 'leftSurround', 5: 'rightSurround' } as const
