// Outside authority: hum, cuts, hiss and whistles are laid into real recordings at known frequencies and levels; coders
// and converters are FFmpeg's; mains frequencies and television line frequencies are those of ITU-R BT.470/BT.1700.
import { execFileSync } from 'node:child_process'
import { mkdtempSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { inspectWith, programmeOf, recording } from '../../../../test/testkit/inspected.ts'
import { sine } from '../../../../test/testkit/masters.ts'
import { seededRandom } from '../../../../test/testkit/programmes.ts'
import { gained, musicFrom, type Planes, sum, throughSox, voices } from '../../../../test/testkit/surround-mixes.ts'
import type { ChannelSpectrum } from '../../../domain/index.ts'
import { spectrumDetector } from './index.ts'

const RATE = 48000
const SECONDS = 52
const FRAMES = RATE * SECONDS

let scene: Planes
const folder = mkdtempSync(join(tmpdir(), 'plimsoll-spectrum-'))
afterAll(() => rmSync(folder, { recursive: true, force: true }))

beforeAll(() => {
  // Dialogue with pauses over quiet music: a quiet scene, in which hum is heard.
  const speech = voices('agent-', SECONDS)
  scene = musicFrom('Nebula', 30, SECONDS).map((plane) => sum(gained(plane, 0.03), speech))
}, 60_000)

const inspect = (planes: Planes, sampleRateHz = RATE): readonly ChannelSpectrum[] =>
  inspectWith(spectrumDetector, programmeOf(planes, '2.0', sampleRateHz))
const withSines = (planes: Planes, ...lines: readonly (readonly [number, number])[]) =>
  planes.map((plane) => sum(plane, ...lines.map(([hz, db]) => sine(hz, db, FRAMES))))

/** Pink noise by SoX: a spectrum without any edge. */
function pink(): Planes {
  return throughSox([new Float32Array(FRAMES), new Float32Array(FRAMES)], 'synth', 'pinknoise', 'gain', '-20')
}

describe('hum', () => {
  test.each([
    [
      50,
      50,
      null,
      [
        [50, -58],
        [100, -60],
        [150, -62],
      ],
    ],
    [
      60,
      60,
      null,
      [
        [120, -56],
        [240, -62],
        [360, -66],
      ],
    ],
    [
      50 * (25 / 24),
      50,
      '25/24',
      [
        [52.0833, -56],
        [104.1667, -56],
        [156.25, -58],
        [208.3333, -58],
        [312.5, -60],
      ],
    ],
  ] as const)('at %d Hz', (fundamentalHz, mainsHz, speed, lines) => {
    for (const { hum } of inspect(withSines(scene, ...lines))) {
      expect(hum).toMatchObject({ mainsHz, speed })
      expect(Math.abs(hum!.fundamentalHz - fundamentalHz)).toBeLessThan(0.1)
      const strongest = hum!.harmonics.toSorted((a, b) => b.levelDbfs - a.levelDbfs)[0]!
      expect(Math.abs(strongest.levelDbfs - lines[0]![1])).toBeLessThan(2.5)
    }
  })

  test('none in the scene itself, nor where a bass holds the notes nearest to 50 and 60 Hz (G#1, A#1)', () => {
    for (const channel of inspect(scene)) expect(channel.hum).toBeNull()
    for (const noteHz of [51.913, 58.27]) {
      const lines = [1, 2, 3, 4].map((n) => [noteHz * n, -40 - 6 * n] as const)
      for (const channel of inspect(withSines(scene, ...lines))) expect(channel.hum, `${noteHz} Hz`).toBeNull()
    }
  })
})

describe('band limit', () => {
  function coded(planes: Planes, ...encode: readonly string[]): Planes {
    const path = join(folder, `coded.${encode.at(-1)}`)
    const input = new Float32Array(2 * FRAMES)
    planes.forEach((plane, channel) => plane.forEach((sample, n) => (input[2 * n + channel] = sample)))
    const raw = ['-f', 'f32le', '-ar', String(RATE), '-ac', '2', '-i', '-']
    const args = ['-v', 'error', '-y', ...raw, ...encode.slice(0, -1), path]
    execFileSync('ffmpeg', args, { input: Buffer.from(input.buffer) })
    return recording(path, 2).map((plane) => plane.subarray(0, FRAMES))
  }

  function throughConverters(planes: Planes, ...steps: readonly (readonly [number, string])[]): Planes {
    const filters = steps.map(([rate, resampler]) => `aresample=${rate}:resampler=${resampler}`).join(',')
    return coded(planes, '-af', filters, '-c:a', 'pcm_f32le', 'wav')
  }

  test('a coder and its corner', () => {
    for (const { bandLimit } of inspect(coded(pink(), '-c:a', 'libvorbis', '-b:a', '64k', 'ogg'))) {
      expect(bandLimit!.suggests).not.toBe('lower-sample-rate')
      expect(bandLimit!.cutHz).toBeGreaterThan(12000)
      expect(bandLimit!.cutHz).toBeLessThan(17500)
    }
  })

  test.each([
    [32000, 16000],
    [22050, 11025],
    [16000, 8000],
  ])('audio that once had %d Hz', (rate, halfHz) => {
    const planes = coded(pink(), '-ar', String(rate), 'wav')
    for (const { bandLimit } of inspect(planes)) {
      expect(bandLimit!.suggests).not.toBe('lossy-coding')
      expect(bandLimit!.cutHz).toBeLessThan(halfHz + 200)
      expect(bandLimit!.cutHz).toBeGreaterThan(0.85 * halfHz)
    }
  })

  // FFmpeg's own converter leaves images above the old half rate, libsoxr's leaves none.
  test('audio that once had 32000 Hz, through a converter that lets images through: not put down to a coder', () => {
    for (const { bandLimit } of inspect(throughConverters(pink(), [32000, 'swr'], [RATE, 'swr']))) {
      expect(bandLimit!.suggests).not.toBe('lossy-coding')
      expect(bandLimit!.cutHz).toBeGreaterThan(15500)
    }
  })

  test('audio that once had 44100 Hz, through a steep converter', () => {
    for (const { bandLimit } of inspect(throughConverters(pink(), [44100, 'soxr'], [RATE, 'soxr']))) {
      expect(bandLimit).toMatchObject({ suggests: 'lower-sample-rate' })
      expect(Math.abs(bandLimit!.cutHz - 21000)).toBeLessThan(500)
    }
  })

  // 20.3 of 44.1 kHz, where a synthesiser's own filter ends, as it lies at this rate.
  test("none where a file ends at its converter's own filter", () => {
    const own = throughSox(pink(), 'sinc', String(-Math.round((20300 * RATE) / 44100)))
    for (const { bandLimit } of inspect(own)) expect(bandLimit).toBeNull()
  })

  test('none where the highs only roll off, however early', () => {
    for (const effects of [
      [],
      ['lowpass', '-1', '3000'],
      ['lowpass', '-2', '9000'],
      ['lowpass', '6000', 'lowpass', '8000'],
    ]) {
      const planes = effects.length === 0 ? pink() : throughSox(pink(), ...effects)
      for (const { bandLimit } of inspect(planes)) expect(bandLimit, effects.join(' ')).toBeNull()
    }
  })
})

test('steady hiss is measured in the pauses, within 1.5 dB', () => {
  const random = seededRandom(3)
  // White noise of -60 dBFS, of which 15 in 24 parts lie from 1 to 16 kHz.
  const a = Math.sqrt(3) * 10 ** (-60 / 20)
  const noisy = scene.map((plane) => plane.map((sample) => sample + a * (2 * random() - 1)))
  for (const { hissDbfs } of inspect(noisy))
    expect(Math.abs(hissDbfs! + 60 - 10 * Math.log10(15 / 24))).toBeLessThan(1.5)
  const loud = musicFrom('Inevitable', 60, SECONDS)
  for (const { hissDbfs } of inspect(loud)) expect(hissDbfs).toBeNull()
})

test.each([
  ['625 lines', 15625],
  ['525 lines', 15734.27],
] as const)('the whistle of a television of %s', (system, hz) => {
  for (const { lineWhistle } of inspect(withSines(scene, [hz, -66]))) {
    expect(lineWhistle).toMatchObject({ system })
    expect(Math.abs(lineWhistle!.levelDbfs + 66)).toBeLessThan(1.5)
  }
  for (const { lineWhistle } of inspect(scene)) expect(lineWhistle).toBeNull()
})

test('silence, and a programme shorter than a window', () => {
  const nothing = { hum: null, bandLimit: null, hissDbfs: null, lineWhistle: null }
  for (const frames of [RATE * 3, 100]) {
    for (const channel of inspect([new Float32Array(frames), new Float32Array(frames)])) {
      expect(channel).toMatchObject(nothing)
    }
  }
})
