import { describe, expect, test } from 'vitest'
import { loadKernels } from '../../test/testkit/kernels.ts'
import { seededRandom } from '../../test/testkit/programmes.ts'
import { FOLD_DOWN_K, type Role } from '../domain/index.ts'
import { takePlane } from './decode.ts'
import { takeGain } from './gain.ts'
import { ditherOf, frontOf, wordOf } from './words.reference.ts'
import {
  type DitherRule,
  deriveFronts,
  foldWords,
  packFrames,
  quantise,
  stepsToFullScale,
  takeWordLine,
  type WordEncoding,
  wordLineFrames,
} from './words.ts'

const kernels = loadKernels(4 * 1024 * 1024)
const SEED = [0x9b05688c, 0x1f83d9ab] as const
const LINE = 4096

type Line = { role?: Role; frame?: number; gain?: (frame: number) => number; isWide?: boolean }

function quantised(samples: ArrayLike<number>, encoding: WordEncoding, dither: DitherRule, line: Line = {}) {
  const mark = kernels.arena.mark()
  const { buffer } = kernels.memory
  const plane = takePlane(kernels, samples.length, line.isWide ?? true)
  const Samples = plane.isWide ? Float64Array : Float32Array
  new Samples(buffer, plane.address, samples.length).set(samples)
  const gain = takeGain(kernels, samples.length)
  const gains = new Float64Array(buffer, gain, samples.length)
  if (line.gain) for (let i = 0; i < samples.length; i++) gains[i] = line.gain(i)
  const words = takeWordLine(kernels)
  const shape = {
    plane,
    planeFrame: 0,
    gain,
    role: line.role ?? 'C',
    frame: line.frame ?? 0,
    frameCount: samples.length,
  }
  const overs = quantise(kernels, shape, encoding, dither, SEED, words)
  kernels.arena.release(mark)
  return { words: new Int32Array(buffer, words, samples.length).slice(), overs }
}

const noise = (count: number, seed: number, scale = 1) => {
  const random = seededRandom(seed)
  return Float64Array.from({ length: count }, () => scale * (2 * random() - 1))
}

describe('quantising', () => {
  test.each(['int16', 'int24'] as const)('%s without dither: rounded half up, held at the ends', (encoding) => {
    const steps = stepsToFullScale(encoding)
    const samples = [...noise(1000, 3), 0.5 / steps, -0.5 / steps, 1.5 / steps, 1, -1, 1.2, -1.2, 0, -0, 5e-324, 65536]
    const { words, overs } = quantised(samples, encoding, 'never')
    expect([...words]).toEqual(samples.map((sample) => wordOf(sample * steps, steps) + 0))
    expect(overs).toBe(4)
  })

  test('every sample is within half a step of sample x gain, in single precision planes too', () => {
    const samples = Float32Array.from(noise(LINE, 4, 0.9))
    const gain = (i: number) => 0.3 + i / 8192
    const { words } = quantised(samples, 'int24', 'never', { gain, isWide: false })
    const errors = words.map((word, i) => Math.abs(word - (samples[i] as number) * gain(i) * 8388608) * 1e9)
    expect(Math.max(...errors)).toBeLessThanOrEqual(0.5e9 + 1)
  })

  test('with dither the kernel equals its twin bit for bit, beyond 2^32 frames too', () => {
    const samples = noise(LINE, 5)
    for (const [role, frame] of [
      ['L', 0],
      ['Rs', 123456],
      ['LFE', 2 ** 32 + 8],
      ['Lrs', 2 ** 33 - 4096],
    ] as const) {
      const { words } = quantised(samples, 'int16', 'always', { role, frame })
      const wanted = samples.map((sample, i) => wordOf(sample * 32768 + ditherOf(SEED, role, frame + i), 32768))
      expect([...words]).toEqual([...wanted])
    }
  })

  test('a line never crosses a multiple of 2^32 frames, where the keys change', () => {
    expect(wordLineFrames(2 ** 32 - 100, 5000)).toBe(100)
    expect(wordLineFrames(2 ** 32, 5000)).toBe(LINE)
    expect(wordLineFrames(40, 7)).toBe(7)
  })

  test('a 16-bit sample under a gain of exactly 1 stays as it is; any other gain is dithered', () => {
    const samples = Float64Array.from({ length: LINE }, (_, i) => (i - 2048) / 32768)
    const exact = quantised(samples, 'int16', 'unless-unity').words
    expect([...exact]).toEqual(Array.from({ length: LINE }, (_, i) => i - 2048))
    const half = quantised(samples, 'int16', 'unless-unity', { gain: (i) => (i < 2048 ? 1 : 1 - 2 ** -40) }).words
    expect([...half.slice(0, 2048)]).toEqual([...exact.slice(0, 2048)])
    expect(half.slice(2048).filter((word, i) => word !== i).length).toBeGreaterThan(300)
  })
})

describe('dither, by the statistics of triangular noise of one step peak', () => {
  // Sum of two uniform variables of one step each: P(word 0) = 3/4, P(+-1) = 1/8 of digital silence, total error after
  // rounding 0.5 steps RMS whatever the signal (Lipshitz, Wannamaker & Vanderkooy, JAES 40(5), 1992; from memory).
  const frames = 1 << 20

  function errors(level: number, role: Role): Float64Array {
    const silence = new Float64Array(LINE).fill(level)
    const all = new Float64Array(frames)
    for (let frame = 0; frame < frames; frame += LINE) {
      all.set(quantised(silence, 'int16', 'always', { role, frame }).words, frame)
    }
    return all.map((word) => word - level * 32768)
  }

  const mean = (x: Float64Array) => x.reduce((sum, value) => sum + value, 0) / x.length
  const rms = (x: Float64Array) => Math.sqrt(mean(x.map((value) => value * value)))

  test('of silence: mean 0, words -1, 0 and 1 in shares 1/8, 3/4, 1/8', () => {
    const words = errors(0, 'C')
    expect(Math.abs(mean(words))).toBeLessThan(0.01)
    expect(new Set(words)).toEqual(new Set([-1, 0, 1]))
    const share = (word: number) => words.filter((value) => value === word).length / frames
    expect(share(0)).toBeCloseTo(0.75, 2)
    expect(share(1)).toBeCloseTo(0.125, 2)
    expect(share(-1)).toBeCloseTo(0.125, 2)
  })

  test.each([0, 0.25, 0.5, -0.4])('of a level of %f steps: mean error 0, total error 0.5 steps RMS', (steps) => {
    const error = errors(steps / 32768, 'Ls')
    expect(Math.abs(mean(error))).toBeLessThan(0.005)
    expect(rms(error)).toBeCloseTo(0.5, 2)
  })

  test('is white and independent from channel to channel', () => {
    const a = errors(0, 'L')
    const b = errors(0, 'R')
    const product = (x: Float64Array, y: Float64Array, lag: number) =>
      mean(x.slice(0, frames - lag).map((value, i) => value * (y[i + lag] as number))) / (rms(x) * rms(y))
    for (const lag of [1, 2, 3, 4, 8, 4096]) expect(Math.abs(product(a, a, lag))).toBeLessThan(0.006)
    for (const lag of [0, 1, 4]) expect(Math.abs(product(a, b, lag))).toBeLessThan(0.006)
  })
})

/** Lines of words in kernel memory, and views of them. */
function linesOf(...values: readonly (readonly number[] | Int32Array)[]) {
  return values.map((words) => {
    const address = takeWordLine(kernels)
    const view = new Int32Array(kernels.memory.buffer, address, LINE)
    view.set(words)
    return { address, view }
  })
}

function derived(words: readonly Int32Array[], encoding: WordEncoding, spread = 1) {
  const mark = kernels.arena.mark()
  const count = words[0]?.length as number
  const [lo, ro, centre, left, right, l, r] = linesOf(...words, [], []) as [
    Lines,
    Lines,
    Lines,
    Lines,
    Lines,
    Lines,
    Lines,
  ]
  const lines = {
    stereo: [lo.address, ro.address],
    centre: centre.address,
    surrounds: [left.address, right.address],
    fronts: [l.address, r.address],
  } as const
  const counts = deriveFronts(kernels, lines, count, encoding, spread)
  kernels.arena.release(mark)
  const [ls, rs, fl, fr] = [left, right, l, r].map((line) => line.view.slice(0, count)) as Int32Array[]
  return { ...counts, ls: ls as Int32Array, rs: rs as Int32Array, l: fl as Int32Array, r: fr as Int32Array }
}
type Lines = ReturnType<typeof linesOf>[number]

const randomWords = (count: number, seed: number, peak: number) => Int32Array.from(noise(count, seed, peak), Math.round)

describe('deriving the fronts', () => {
  test.each([
    ['int24', 8388608, 0.35],
    ['int16', 32768, 0.35],
  ] as const)('%s: the rounded fold-down of the words is the stereo word, every one', (encoding, steps, share) => {
    const words = [11, 12, 13, 14, 15].map((seed) => randomWords(LINE, seed, share * steps))
    const [lo, ro, c] = words as [Int32Array, Int32Array, Int32Array]
    const { l, r, ls, rs, overs } = derived(words, encoding)
    expect(overs).toBe(0)
    const fold = (front: Int32Array, surround: Int32Array) =>
      front.map((word, i) => Math.round(word + FOLD_DOWN_K * (c[i] as number) + FOLD_DOWN_K * (surround[i] as number)))
    expect(fold(l, ls)).toEqual(lo)
    expect(fold(r, rs)).toEqual(ro)
  })

  test('equals its twin, ties and ends of the word included', () => {
    // k x 6625109 and k x 15994428 lie 2.7e-8 and 1.1e-8 from a half: the closest multiples of k below 2^24.
    const stereo = Int32Array.from([0, 8388607, -8388608, 8388607])
    const centre = Int32Array.from([6625109 - 100, 15994428 - 8388607, -15994428 + 8388608, -5])
    const surround = Int32Array.from([100, 8388607, -8388608, 8])
    const found = derived([stereo, stereo, centre, surround, surround], 'int24')
    const wanted = [0, 1, 2, 3].map((i) => frontOf(stereo[i]!, centre[i]!, surround[i]!, 8388608))
    expect([...found.l]).toEqual(wanted.map(({ front }) => front))
    expect([...found.ls]).toEqual(wanted.map(({ surround: word }) => word))
    expect([...found.ls]).toEqual([101, 8388606, -8388607, 8])
    expect(found.nearTies).toBe(6)
  })

  test('a front that does not fit is held at the end of the word and counted, never wrapped', () => {
    const [full, empty] = [Int32Array.of(32767, -32768, 10, 0), Int32Array.of(-30000, 30000, 0, 0)]
    const { l, overs } = derived([full, full, empty, empty, empty], 'int16')
    expect([...l]).toEqual([32767, -32768, 10, 0])
    expect(overs).toBe(4)
  })

  test('spread fronts: the middle stays, the side is scaled', () => {
    const words = [21, 22, 23, 24, 25].map((seed) => randomWords(512, seed, 1e6))
    const plain = derived(words, 'int24')
    const wide = derived(words, 'int24', 1.5)
    for (let i = 0; i < 512; i++) {
      const [l, r, wl, wr] = [plain.l[i]!, plain.r[i]!, wide.l[i]!, wide.r[i]!]
      expect(Math.abs(wl + wr - (l + r))).toBeLessThanOrEqual(2)
      expect(Math.abs(wl - wr - 1.5 * (l - r))).toBeLessThanOrEqual(2.5)
    }
    expect(wide.nearTies).toBe(0)
  })
})

describe('folding and packing words', () => {
  test('the fold-down is the weighted sum rounded half up, held and counted', () => {
    const mark = kernels.arena.mark()
    const [a, b, out] = linesOf([1, -3, 32767, -32768], [1, 1, 32767, -32768], []) as [Lines, Lines, Lines]
    const terms = [
      { words: a.address, weight: 1 },
      { words: b.address, weight: 0.5 },
    ]
    expect(foldWords(kernels, terms, 4, 'int16', out.address)).toBe(2)
    expect([...out.view.slice(0, 4)]).toEqual([2, -2, 32767, -32768])
    kernels.arena.release(mark)
  })

  test.each([
    ['int16', 5],
    ['int24', 5],
    ['int24', 6],
    ['int16', 8],
  ] as const)('%s, %i channels: interleaved little-endian as Node reads it', (encoding, channelCount) => {
    const mark = kernels.arena.mark()
    const bytes = encoding === 'int16' ? 2 : 3
    const peak = stepsToFullScale(encoding)
    const words = Array.from({ length: channelCount }, (_, c) => randomWords(101, 30 + c, peak - 1))
    const pcm = kernels.arena.take(101 * channelCount * bytes)
    const format = { encoding, channelCount, sampleRateHz: 48000 }
    packFrames(
      kernels,
      linesOf(...words).map((line) => line.address),
      101,
      format,
      pcm,
    )
    const written = Buffer.from(kernels.memory.buffer, pcm, 101 * channelCount * bytes)
    for (let frame = 0; frame < 101; frame++) {
      for (let c = 0; c < channelCount; c++) {
        expect(written.readIntLE((frame * channelCount + c) * bytes, bytes)).toBe(words[c]![frame])
      }
    }
    kernels.arena.release(mark)
  })

  test('a channel without a line is left as it is', () => {
    const mark = kernels.arena.mark()
    const pcm = kernels.arena.take(6)
    new Uint8Array(kernels.memory.buffer, pcm, 6).fill(0x11)
    const [line] = linesOf([-2]) as [Lines]
    packFrames(
      kernels,
      [undefined, line.address, undefined],
      1,
      { encoding: 'int16', channelCount: 3, sampleRateHz: 48000 },
      pcm,
    )
    expect([...new Uint8Array(kernels.memory.buffer, pcm, 6)]).toEqual([0x11, 0x11, 0xfe, 0xff, 0x11, 0x11])
    kernels.arena.release(mark)
  })
})
