import { describe, expect, it } from 'vitest'
import { loadKernels } from '../../../test/testkit/kernels.ts'
import { noise } from '../../../test/testkit/mixes.ts'
import { noisePcm } from '../../../test/testkit/wav.ts'
import {
  type AudioSource,
  Bug,
  bytesPerFrame,
  Cancelled,
  LAYOUTS,
  type LayoutName,
  type PlaneStore,
  type Role,
  type SampleEncoding,
} from '../../domain/index.ts'
import { type FoldJob, foldSegment } from './fold.ts'
import { type RenderJob, renderSegment } from './segment.ts'

const kernels = loadKernels(64 * 1024 * 1024)
const RATE = 48000
const SEED = [0x1234567, 0x89abcde] as const

function sourceOf(bytes: Uint8Array, layout: LayoutName, encoding: SampleEncoding, sampleRateHz = RATE): AudioSource {
  const format = { encoding, channelCount: LAYOUTS[layout].length, sampleRateHz }
  const size = bytesPerFrame(format)
  return {
    format,
    layout,
    frameCount: bytes.length / size,
    readInto: (into, frame, count) => into.set(bytes.subarray(frame * size, (frame + count) * size)),
  }
}

type Signals = Partial<Record<Role, (frame: number) => number>>

/** A float64 programme whose channels are these signals, silent where none is given. */
function programmeOf(layout: LayoutName, frameCount: number, signals: Signals, sampleRateHz = RATE): AudioSource {
  const roles = LAYOUTS[layout]
  const samples = new Float64Array(frameCount * roles.length)
  roles.forEach((role, channel) => {
    const signal = signals[role]
    if (signal === undefined) return
    for (let frame = 0; frame < frameCount; frame++) samples[frame * roles.length + channel] = signal(frame)
  })
  return sourceOf(new Uint8Array(samples.buffer), layout, 'float64', sampleRateHz)
}

function foldWhole(source: AudioSource, to: FoldJob['to'], settings: Partial<FoldJob> = {}) {
  const job: FoldJob = { source, to, gainDb: 0, encoding: 'float32', ditherSeed: SEED, ...settings }
  return foldSegment(kernels, job, { index: 0, firstFrame: 0, frameCount: source.frameCount })
}

/** The channels of a float32 fold-down. */
function foldChannels(source: AudioSource, to: FoldJob['to'], settings: Partial<FoldJob> = {}): Float32Array[] {
  const floats = new Float32Array(foldWhole(source, to, settings).words.buffer)
  const channelCount = to === 'mono' ? 1 : 2
  return Array.from({ length: channelCount }, (_, channel) =>
    floats.filter((_, index) => index % channelCount === channel),
  )
}

function readWords(bytes: Uint8Array, encoding: 'int16' | 'int24'): number[] {
  const buffer = Buffer.from(bytes.buffer, bytes.byteOffset, bytes.byteLength)
  const size = encoding === 'int16' ? 2 : 3
  return Array.from({ length: bytes.length / size }, (_, index) => buffer.readIntLE(index * size, size))
}

function countDiffering(a: readonly number[], b: readonly number[]): number {
  expect(a).toHaveLength(b.length)
  return a.filter((word, i) => word !== b[i]).length
}

function sine(hz: number, phase = 0, level = 1): (frame: number) => number {
  return (frame) => level * Math.sin((2 * Math.PI * hz * frame) / RATE + phase)
}

/** Amplitude and phase (degrees) of a sine over whole periods away from the edges. */
function phasor(samples: Float32Array, hz: number) {
  const period = RATE / hz
  const from = Math.ceil(0.1 * RATE)
  const count = Math.round(Math.floor((samples.length - 2 * from) / period) * period)
  let along = 0
  let across = 0
  for (let i = from; i < from + count; i++) {
    along += (2 / count) * samples[i]! * Math.sin((2 * Math.PI * hz * i) / RATE)
    across += (2 / count) * samples[i]! * Math.cos((2 * Math.PI * hz * i) / RATE)
  }
  return { amplitude: Math.hypot(along, across), degrees: (180 / Math.PI) * Math.atan2(across, along) }
}

const decibels = (ratio: number) => 20 * Math.log10(ratio)

describe('laws of a fold-down', () => {
  // ITU-R BS.775-4 Table 2: rows 2/0 and 1/0 of a 3/2 source; the LFE stands in no row. 7.1: rear like side
  // (common practice). The 2.0 row to mono is of the same table.
  const rows: { layout: LayoutName; to: FoldJob['to']; role: Role; expected: number[] }[] = [
    { layout: '5.1', to: 'lo-ro', role: 'L', expected: [1, 0] },
    { layout: '5.1', to: 'lo-ro', role: 'R', expected: [0, 1] },
    { layout: '5.1', to: 'lo-ro', role: 'C', expected: [0.7071, 0.7071] },
    { layout: '5.1', to: 'lo-ro', role: 'LFE', expected: [0, 0] },
    { layout: '5.1', to: 'lo-ro', role: 'Ls', expected: [0.7071, 0] },
    { layout: '5.1', to: 'lo-ro', role: 'Rs', expected: [0, 0.7071] },
    { layout: '5.0', to: 'lo-ro', role: 'Rs', expected: [0, 0.7071] },
    { layout: '7.1', to: 'lo-ro', role: 'Lrs', expected: [0.7071, 0] },
    { layout: '7.1', to: 'lo-ro', role: 'Rrs', expected: [0, 0.7071] },
    { layout: '5.1', to: 'mono', role: 'L', expected: [0.7071] },
    { layout: '5.1', to: 'mono', role: 'R', expected: [0.7071] },
    { layout: '5.1', to: 'mono', role: 'C', expected: [1] },
    { layout: '5.1', to: 'mono', role: 'LFE', expected: [0] },
    { layout: '5.1', to: 'mono', role: 'Ls', expected: [0.5] },
    { layout: '5.0', to: 'mono', role: 'Rs', expected: [0.5] },
    { layout: '7.1', to: 'mono', role: 'Rrs', expected: [0.5] },
    { layout: '2.0', to: 'mono', role: 'L', expected: [0.7071] },
    { layout: '2.0', to: 'mono', role: 'R', expected: [0.7071] },
    // ATSC A/52 7.8.2: fronts and centre of Lt/Rt.
    { layout: '5.1', to: 'lt-rt', role: 'L', expected: [1, 0] },
    { layout: '5.1', to: 'lt-rt', role: 'R', expected: [0, 1] },
    { layout: '5.1', to: 'lt-rt', role: 'C', expected: [0.7071, 0.7071] },
    { layout: '5.1', to: 'lt-rt', role: 'LFE', expected: [0, 0] },
  ]
  it.each(rows)('$role of $layout in $to', ({ layout, to, role, expected }) => {
    const random = noise(3)
    const signal = Float64Array.from({ length: 3000 }, random)
    const source = programmeOf(layout, signal.length, { [role]: (frame: number) => signal[frame]! })
    const channels = foldChannels(source, to)
    expect(channels).toHaveLength(expected.length)
    channels.forEach((channel, side) => {
      const errors = channel.map((sample, frame) => Math.abs(sample - expected[side]! * signal[frame]!))
      expect(Math.max(...errors)).toBeLessThan(1e-5)
    })
  })

  it.each(['mono', '2.0'] as const)('asserts that %s has no two-channel fold-down', (layout) => {
    expect(() => foldWhole(programmeOf(layout, 100, {}), 'lo-ro')).toThrow(Bug)
    expect(() => foldWhole(programmeOf(layout, 100, {}), 'lt-rt')).toThrow(Bug)
  })

  // Sums of the coefficients of BS.775-4 Table 2 and A/52 7.8.2: +7.66, +10.67, +9.89 dB. The surrounds of Lt/Rt are a
  // quarter period early or late so that everything meets in one channel.
  const worst = [
    { to: 'lo-ro', surroundPhase: 0, db: 7.66 },
    { to: 'mono', surroundPhase: 0, db: 10.67 },
    { to: 'lt-rt', surroundPhase: Math.PI / 2, db: 9.89 },
    { to: 'lt-rt', surroundPhase: -Math.PI / 2, db: 9.89 },
  ] as const
  it.each(worst)('$to of full-scale channels reaches $db dB and is held, not wrapped', ({ to, surroundPhase, db }) => {
    const front = sine(1000)
    const surround = sine(1000, surroundPhase)
    const source = programmeOf('5.1', RATE / 2, {
      L: front,
      R: front,
      C: front,
      Ls: surround,
      Rs: surround,
      LFE: front,
    })
    const { peak } = foldWhole(source, to)
    expect(Math.abs(decibels(peak) - db)).toBeLessThan(0.1)
    const { words, overs, peak: same } = foldWhole(source, to, { encoding: 'int24' })
    expect(same).toBe(peak)
    const samples = readWords(words, 'int24')
    const free = new Float32Array(foldWhole(source, to).words.buffer)
    expect(overs).toBe(
      free.filter((x) => Math.round(x * 8388608) > 8388607 || Math.round(x * 8388608) < -8388608).length,
    )
    expect(overs).toBeGreaterThan(5000)
    const errors = samples.map((word, i) => Math.abs(word - Math.max(-8388608, Math.min(8388607, free[i]! * 8388608))))
    expect(Math.max(...errors)).toBeLessThan(2)
    // The static gain that makes any fold-down safe: 0.4142, 0.2929, 0.3204 (from the same sums).
    const safe = foldWhole(source, to, { encoding: 'int24', gainDb: -db - 0.1 })
    expect(safe.overs).toBe(0)
    expect(decibels(safe.peak)).toBeCloseTo(decibels(peak) - db - 0.1, 6)
  })
})

describe('Lt/Rt', () => {
  // ATSC A/52 7.8.2 (from memory) and common practice of matrix encoding: S alone is -3.01 dB in both with opposite
  // polarity, its mono sum is nothing, and both stand at 90 degrees to what is in front.
  it.each([40, 100, 1000, 5000, 10000, 20000])(
    'carries a surround at %d Hz in opposite polarity, 90 degrees off',
    (hz) => {
      for (const role of ['Ls', 'Rs'] as const) {
        const [lt, rt] = foldChannels(programmeOf('5.1', RATE, { [role]: sine(hz) }), 'lt-rt') as [
          Float32Array,
          Float32Array,
        ]
        expect(lt.every((sample, frame) => sample + rt[frame]! === 0)).toBe(true)
        const left = phasor(lt, hz)
        const right = phasor(rt, hz)
        expect(Math.abs(decibels(left.amplitude) + 3.01)).toBeLessThan(0.1)
        expect(Math.abs(decibels(right.amplitude) + 3.01)).toBeLessThan(0.1)
        expect(Math.abs(right.degrees - 90)).toBeLessThan(1)
        expect(Math.abs(left.degrees + 90)).toBeLessThan(1)
      }
    },
  )

  it('adds both surrounds, and the rear pair of 7.1', () => {
    const [, one] = foldChannels(programmeOf('7.1', RATE / 2, { Ls: sine(1000) }), 'lt-rt') as [
      Float32Array,
      Float32Array,
    ]
    const all = { Ls: sine(1000), Rs: sine(1000), Lrs: sine(1000), Rrs: sine(1000) }
    const [, four] = foldChannels(programmeOf('7.1', RATE / 2, all), 'lt-rt') as [Float32Array, Float32Array]
    expect(phasor(four, 1000).amplitude).toBeCloseTo(4 * phasor(one, 1000).amplitude, 5)
  })

  it('delays nothing: an impulse in a surround is answered evenly around its own frame', () => {
    const [lt, rt] = foldChannels(
      programmeOf('5.1', 6000, { Ls: (frame) => (frame === 3000 ? 1 : 0), L: (frame) => (frame === 3000 ? 1 : 0) }),
      'lt-rt',
    ) as [Float32Array, Float32Array]
    expect(lt[3000]).toBe(1)
    expect(rt[3000]).toBe(0)
    for (let k = 1; k < 900; k++) expect(rt[3000 + k]! + rt[3000 - k]!).toBe(0)
    // The nearest neighbours of the ideal turn are -+2 / pi (Oppenheim and Schafer), here times 0.7071.
    expect(rt[2999]).toBeCloseTo((2 / Math.PI) * Math.SQRT1_2, 3)
  })

  it.each([44100, 96000])('holds at %d Hz too', (rate) => {
    const tone = (frame: number) => Math.sin((2 * Math.PI * 1000 * frame) / rate)
    const [, rt] = foldChannels(programmeOf('5.1', rate / 2, { Rs: tone }, rate), 'lt-rt') as [
      Float32Array,
      Float32Array,
    ]
    for (let frame = 4000; frame < 8000; frame++) {
      const ideal = Math.SQRT1_2 * Math.cos((2 * Math.PI * 1000 * frame) / rate)
      expect(Math.abs(rt[frame]! - ideal)).toBeLessThan(0.012 * Math.SQRT1_2)
    }
  })
})

describe('words of a fold-down', () => {
  it.each(['int16', 'int24'] as const)('Lo/Ro of %s words is the equation rounded half up, to the bit', (encoding) => {
    for (const layout of ['5.0', '5.1', '7.1'] as const) {
      const format = { encoding, channelCount: LAYOUTS[layout].length, sampleRateHz: RATE }
      const pcm = new Uint8Array(noisePcm(format, 70001))
      const { words, overs } = foldWhole(sourceOf(pcm, layout, encoding), 'lo-ro', { encoding })
      const steps = encoding === 'int16' ? 32768 : 8388608
      const channels = readWords(pcm, encoding)
      let held = 0
      const expected: number[] = []
      for (let frame = 0; frame < 70001; frame++) {
        const at = (role: Role) => {
          const channel = LAYOUTS[layout].indexOf(role)
          return channel < 0 ? 0 : channels[frame * format.channelCount + channel]!
        }
        const k = Math.SQRT1_2
        const lo = at('L') + k * at('C') + k * at('Ls') + k * at('Lrs')
        const ro = at('R') + k * at('C') + k * at('Rs') + k * at('Rrs')
        for (const sum of [lo, ro]) {
          const word = Math.floor(sum + 0.5)
          if (word < -steps || word > steps - 1) held++
          expected.push(Math.max(-steps, Math.min(steps - 1, word)))
        }
      }
      expect(countDiffering(readWords(words, encoding), expected)).toBe(0)
      expect(overs).toBe(held)
    }
  })

  it('16-bit words that get shorter carry triangular dither; 24-bit words carry none', () => {
    // TPDF on silence: P(0) = 3/4, P(+-1) = 1/8 each (Lipshitz, Wannamaker and Vanderkooy, JAES 40, 1992).
    const silence = programmeOf('5.1', 200000, {})
    for (const to of ['lo-ro', 'lt-rt', 'mono'] as const) {
      const words = readWords(foldWhole(silence, to, { encoding: 'int16' }).words, 'int16')
      const share = (value: number) => words.filter((word) => word === value).length / words.length
      expect(Math.abs(share(0) - 0.75)).toBeLessThan(0.005)
      expect(Math.abs(share(1) - 0.125)).toBeLessThan(0.005)
      expect(Math.abs(share(-1) - 0.125)).toBeLessThan(0.005)
      expect(readWords(foldWhole(silence, to, { encoding: 'int24' }).words, 'int24').every((word) => word === 0)).toBe(
        true,
      )
    }
  })

  it('does not depend on where segments part, to the bit', () => {
    for (const rate of [44100, 48000, 192000]) {
      const pcm = new Uint8Array(noisePcm({ encoding: 'int24', channelCount: 6, sampleRateHz: rate }, 150003))
      const source = sourceOf(pcm, '5.1', 'int24', rate)
      for (const to of ['lo-ro', 'lt-rt', 'mono'] as const) {
        for (const encoding of ['int16', 'float32'] as const) {
          const job: FoldJob = { source, to, gainDb: -9, encoding, ditherSeed: SEED }
          const whole = foldWhole(source, to, job)
          const borders = [0, 4, 1000, 66000, 131072 - 4, 149996, 150003]
          let overs = 0
          let peak = 0
          const parts = borders.slice(1).map((end, index) => {
            const firstFrame = borders[index]!
            const part = foldSegment(kernels, job, { index, firstFrame, frameCount: end - firstFrame })
            overs += part.overs
            peak = Math.max(peak, part.peak)
            return part.words
          })
          expect(Buffer.concat(parts).equals(Buffer.from(whole.words.buffer))).toBe(true)
          expect(overs).toBe(whole.overs)
          expect(peak).toBe(whole.peak)
        }
      }
    }
  })

  it('gives its memory back, also when it is cancelled', () => {
    const before = kernels.arena.mark()
    const source = programmeOf('5.1', 1000, {})
    foldWhole(source, 'lt-rt')
    const job: FoldJob = { source, to: 'lt-rt', gainDb: 0, encoding: 'int24', ditherSeed: SEED }
    const segment = { index: 0, firstFrame: 0, frameCount: 1000 }
    expect(() => foldSegment(kernels, job, segment, { aborted: true })).toThrow(Cancelled)
    expect(kernels.arena.mark()).toBe(before)
  })
})

describe('the fold-down of a delivery', () => {
  const gain = { staticGainDb: -5.25, rideDb: Float64Array.from([0, -1, -2.5, -1, 0.5]), ceilingDbtp: -2 }
  const segment = { index: 0, firstFrame: 0, frameCount: 24000 }

  function differingSamples(multichannel: Uint8Array, stereo: Uint8Array, encoding: 'int16' | 'int24'): number {
    const folded = foldWhole(sourceOf(multichannel, '5.1', encoding), 'lo-ro', { encoding })
    return countDiffering(readWords(folded.words, encoding), readWords(stereo, encoding))
  }

  // Promise: round(Lo/Ro of the delivered 5.1) is the delivered stereo (law: BS.775-4 Table 2).
  it.each(['int16', 'int24'] as const)('is its stereo, for a 5.1 programme in %s', (encoding) => {
    const pcm = new Uint8Array(noisePcm({ encoding: 'int24', channelCount: 6, sampleRateHz: RATE }, segment.frameCount))
    const job: RenderJob = {
      source: sourceOf(pcm, '5.1', 'int24'),
      upmixed: null,
      hasLfe: true,
      frontSpread: 1,
      isLtRt: false,
      gain,
      encoding,
      ditherSeed: SEED,
      stereo: true,
    }
    const rendered = renderSegment(kernels, job, segment)
    expect(differingSamples(rendered.multichannel, rendered.stereo!, encoding)).toBe(0)
  })

  it.each(['int16', 'int24'] as const)('is its stereo, for an upmix in %s', (encoding) => {
    const pcm = new Uint8Array(noisePcm({ encoding: 'int24', channelCount: 2, sampleRateHz: RATE }, segment.frameCount))
    const random = noise(5)
    const upmixed: PlaneStore = {
      read: (_plane, _frame, samples) => samples.set(samples.map(() => 0.4 * random())),
      write: () => undefined,
    }
    const source = sourceOf(pcm, '2.0', 'int24')
    const job: RenderJob = {
      source,
      upmixed,
      hasLfe: false,
      frontSpread: 1,
      isLtRt: false,
      gain,
      encoding,
      ditherSeed: SEED,
      stereo: true,
    }
    const rendered = renderSegment(kernels, job, segment)
    expect(rendered.overs).toBe(0)
    expect(differingSamples(rendered.multichannel, rendered.stereo!, encoding)).toBe(0)
  })
})
