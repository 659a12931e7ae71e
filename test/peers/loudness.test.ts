// Our meter beside libebur128 and FFmpeg on real music of the Debian package singularity-music (CC BY-SA 3.0).
import { execFileSync } from 'node:child_process'
import { closeSync, openSync, readSync, statSync } from 'node:fs'
import { beforeAll, describe, expect, test } from 'vitest'
import {
  type AudioSource,
  describeMeasured,
  joinMeasured,
  LAYOUTS,
  type LayoutName,
  type Measurements,
  segmentAt,
  segmentCount,
} from '../../src/domain/index.ts'
import { measureSegment } from '../../src/engine/measure/index.ts'
import { loadKernels } from '../testkit/kernels.ts'
import { temporaryFolder } from '../testkit/wav.ts'
import { type OutsideReading, type RawProgramme, readByFfmpeg, readByLibebur128 } from './outside-meters.ts'

const MUSIC = '/usr/share/games/singularity/music'
const folder = temporaryFolder()
const kernels = loadKernels(16 * 1024 * 1024)

/** Below 0.45 of the rate, where meters with different interpolators may be compared. */
const BAND = ['sinc', '-20k']

/** The percentiles of the range rest on few windows in a short excerpt, and one rank more or less moves them. */
const EXCERPT = ['trim', '0', '150']

/** The library adds up 3 s afresh at every poll: its maxima are compared on the beginning alone. */
const POLLED_SECONDS = 30

const OUT = ['-t', 'raw', '-e', 'signed', '-b', '24']

function sox(...args: string[]): void {
  execFileSync('sox', ['-D', ...args], { stdio: ['ignore', 'ignore', 'inherit'] })
}

function decoded(track: string): string {
  const path = `${folder}/${track}.wav`
  execFileSync('ffmpeg', ['-v', 'error', '-y', '-i', `${MUSIC}/${track}.ogg`, '-t', '150', '-c:a', 'pcm_f32le', path])
  return path
}

function programme(path: string, layout: LayoutName): RawProgramme {
  const frameCount = statSync(path).size / (3 * LAYOUTS[layout].length)
  return { path, layout, sampleRateHz: 48000, frameCount }
}

function stereo(track: string): RawProgramme {
  const path = `${folder}/${track}.raw`
  sox(decoded(track), ...OUT, path, 'gain', '-1', ...EXCERPT, ...BAND)
  return programme(path, '2.0')
}

/** L R, C (folded to one channel), a low-passed LFE, Ls Rs, each from another track. */
function surround(fronts: string, centre: string, surrounds: string): RawProgramme {
  const [a, b, c] = [decoded(fronts), decoded(centre), decoded(surrounds)]
  const path = `${folder}/${fronts}-51.raw`
  const lfe = `${folder}/lfe.wav`
  sox(b, lfe, 'remix', '1,2', 'sinc', '-120')
  sox(
    '-M',
    a,
    b,
    lfe,
    c,
    ...OUT,
    path,
    'remix',
    '1',
    '2',
    '3v0.6,4v0.6',
    '5v0.8',
    '6v0.5',
    '7v0.5',
    ...EXCERPT,
    ...BAND,
  )
  return programme(path, '5.1')
}

function readByOurs({ path, layout, sampleRateHz, frameCount }: RawProgramme): Measurements {
  const file = openSync(path, 'r')
  const channelCount = LAYOUTS[layout].length
  const source: AudioSource = {
    format: { encoding: 'int24', channelCount, sampleRateHz },
    layout,
    frameCount,
    readInto: (bytes, frame, count) => {
      readSync(file, bytes, 0, count * 3 * channelCount, frame * 3 * channelCount)
    },
  }
  const parts = Array.from({ length: segmentCount(frameCount, sampleRateHz) }, (_, index) =>
    measureSegment(kernels, source, segmentAt(index, frameCount, sampleRateHz)),
  )
  closeSync(file)
  return describeMeasured(joinMeasured(parts))
}

const PROGRAMMES: readonly (readonly [string, () => RawProgramme])[] = [
  ['wide range', () => stereo('Advanced Simulacra')],
  ['dense, peaks over full scale', () => stereo('Enemy Unknown')],
  ['middling', () => stereo('Coherence')],
  ['5.1 of three tracks', () => surround('Nebula', 'A New Journey', 'By-Product')],
]

for (const [name, make] of PROGRAMMES) {
  describe(name, () => {
    let raw: RawProgramme
    let ours: Measurements
    let library: OutsideReading

    beforeAll(() => {
      raw = make()
      ours = readByOurs(raw)
      library = readByLibebur128(raw, 'fast')
    }, 60_000)

    test('programme loudness within 0.01 LU of libebur128', () => {
      expect(Math.abs((ours.programmeLoudnessLkfs ?? 0) - library.programmeLoudnessLkfs)).toBeLessThan(0.01)
    })

    test('maxima within 0.02 LU of libebur128 polled at 100 Hz', () => {
      const beginning = { ...raw, frameCount: POLLED_SECONDS * raw.sampleRateHz }
      const [inside, outside] = [readByOurs(beginning), readByLibebur128(beginning, 'full')]
      expect(Math.abs((inside.maxMomentaryLkfs ?? 0) - (outside.maxMomentaryLkfs ?? 1))).toBeLessThan(0.02)
      expect(Math.abs((inside.maxShortTermLkfs ?? 0) - (outside.maxShortTermLkfs ?? 1))).toBeLessThan(0.02)
    })

    test('range within 0.1 LU, programme loudness within 0.02 LU of FFmpeg', () => {
      const ffmpeg = readByFfmpeg(raw)
      expect(Math.abs((ours.loudnessRangeLu ?? 0) - ffmpeg.loudnessRangeLu)).toBeLessThan(0.1)
      expect(Math.abs((ours.programmeLoudnessLkfs ?? 0) - ffmpeg.programmeLoudnessLkfs)).toBeLessThan(0.02)
    })

    test('true peak of every channel within 0.1 dB of libebur128', () => {
      for (const [channel, { maxTruePeakDbtp }] of ours.channels.entries()) {
        const outside = 20 * Math.log10(library.truePeaks[channel] as number)
        expect(Math.abs((maxTruePeakDbtp ?? 0) - outside)).toBeLessThan(0.1)
      }
    })
  })
}
