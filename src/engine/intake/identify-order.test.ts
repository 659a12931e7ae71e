import { describe, expect, test } from 'vitest'
import { type AudioSource, bytesPerFrame, type SampleEncoding } from '../../domain/index.ts'
import { identifyOrder } from './index.ts'

const RATE = 48000
const SECONDS = 30
const FRAMES = RATE * SECONDS

function noise(seed: number): Float64Array {
  let state = seed
  return Float64Array.from({ length: FRAMES }, () => {
    state = (Math.imul(state, 1664525) + 1013904223) >>> 0
    return state / 2 ** 31 - 1
  })
}

/** One-pole low pass, `order` times; enough to give noise the fall of an LFE (6 dB an octave each). */
function lowPass(signal: Float64Array, cornerHz: number, order: number): Float64Array {
  const share = 1 - Math.exp((-2 * Math.PI * cornerHz) / RATE)
  let result = signal
  for (let pass = 0; pass < order; pass++) {
    let state = 0
    result = result.map((sample) => {
      state += share * (sample - state)
      return state
    })
  }
  return result
}

function mix(...parts: [Float64Array, number][]): Float64Array {
  return Float64Array.from({ length: FRAMES }, (_, frame) =>
    parts.reduce((sum, [signal, gain]) => sum + (signal[frame] as number) * gain, 0),
  )
}

/** Speech-like: noise with a dark spectrum that comes and goes. */
function speech(seed: number): Float64Array {
  return lowPass(noise(seed), 900, 1).map((sample, frame) => (Math.floor(frame / RATE) % 3 === 0 ? 0 : sample * 1.5))
}

type Mix = Record<'L' | 'R' | 'C' | 'LFE' | 'Ls' | 'Rs', Float64Array>

const phantom = lowPass(noise(1), 2000, 1)
const FULL_MIX: Mix = {
  L: mix([phantom, 0.5], [lowPass(noise(2), 2000, 1), 0.4]),
  R: mix([phantom, 0.5], [lowPass(noise(3), 2000, 1), 0.4]),
  C: speech(4),
  LFE: lowPass(noise(5), 80, 4).map((sample) => sample * 4),
  Ls: lowPass(noise(6), 3000, 1).map((sample) => sample * 0.3),
  Rs: lowPass(noise(7), 3000, 1).map((sample) => sample * 0.3),
}

/** Orders: WAVE and ITU-R BS.775; film printmaster (common practice); AAC, ISO/IEC 14496-3 channelConfiguration 6. */
const ORDERS = {
  itu: ['L', 'R', 'C', 'LFE', 'Ls', 'Rs'],
  film: ['L', 'C', 'R', 'Ls', 'Rs', 'LFE'],
  aac: ['C', 'L', 'R', 'Ls', 'Rs', 'LFE'],
} as const

function sourceOf(channels: readonly Float64Array[], encoding: SampleEncoding = 'float32'): AudioSource {
  const format = { encoding, channelCount: channels.length, sampleRateHz: RATE }
  const frameBytes = bytesPerFrame(format)
  const sampleBytes = frameBytes / channels.length
  return {
    format,
    layout: '5.1',
    frameCount: FRAMES,
    readInto(bytes, frameIndex, frameCount) {
      const buffer = Buffer.from(bytes.buffer, bytes.byteOffset, bytes.length)
      for (let frame = 0; frame < frameCount; frame++) {
        channels.forEach((channel, index) => {
          const sample = channel[frameIndex + frame] as number
          const at = frame * frameBytes + index * sampleBytes
          if (encoding === 'float32') buffer.writeFloatLE(sample, at)
          else if (encoding === 'float64') buffer.writeDoubleLE(sample, at)
          else buffer.writeIntLE(Math.round(sample * 0.2 * (2 ** (8 * sampleBytes - 1) - 1)), at, sampleBytes)
        })
      }
    },
  }
}

const inOrder = (order: keyof typeof ORDERS, channels: Mix) => ORDERS[order].map((role) => channels[role])
const silence = new Float64Array(FRAMES)

describe('the order of six channels', () => {
  test.each(['itu', 'film', 'aac'] as const)('%s is found in a full mix, and says why', (order) => {
    const found = identifyOrder(sourceOf(inOrder(order, FULL_MIX)))
    expect(found.order).toBe(order)
    expect(found.confidence).toBeGreaterThan(0.5)
    expect(found.evidence.join(' ')).toMatch(/it is the LFE/)
  })

  test.each(['int16', 'int24', 'int32', 'float64'] as const)('in %s as in float32', (encoding) => {
    expect(identifyOrder(sourceOf(inOrder('itu', FULL_MIX), encoding)).order).toBe('itu')
  })

  test('an unused LFE is found as the only silent channel, with less confidence', () => {
    const channels = { ...FULL_MIX, LFE: silence }
    expect(identifyOrder(sourceOf(inOrder('itu', channels)))).toMatchObject({ order: 'itu', confidence: 0.6 })
    expect(identifyOrder(sourceOf(inOrder('film', channels))).order).toBe('film')
  })

  test('left and right that have nothing in common do not tell film from AAC', () => {
    const wide = { ...FULL_MIX, L: lowPass(noise(8), 2000, 1), R: lowPass(noise(9), 2000, 1) }
    for (const order of ['film', 'aac'] as const) {
      const found = identifyOrder(sourceOf(inOrder(order, wide)))
      expect(found).toMatchObject({ order: null, confidence: 0 })
      expect(found.evidence[1]).toMatch(/Neither/)
    }
  })

  test('nothing is guessed from a full-range LFE, an LFE in an unknown place, silence, or too few channels', () => {
    const none = { order: null, confidence: 0 }
    const fullRange = { ...FULL_MIX, LFE: lowPass(noise(5), 3000, 1) }
    expect(identifyOrder(sourceOf(inOrder('itu', fullRange)))).toMatchObject(none)
    const { L, R, C, LFE, Ls, Rs } = FULL_MIX
    expect(identifyOrder(sourceOf([LFE, L, R, C, Ls, Rs]))).toMatchObject(none)
    expect(identifyOrder(sourceOf([L, R, C, silence, silence, Rs]))).toMatchObject(none)
    expect(identifyOrder(sourceOf([L, R, silence, silence, silence, silence]))).toMatchObject(none)
    expect(identifyOrder(sourceOf(ORDERS.itu.map(() => silence)))).toMatchObject(none)
    expect(identifyOrder(sourceOf([L, R, C, Ls, Rs]))).toMatchObject(none)
  })

  test('rumbling surrounds are not taken for an LFE', () => {
    const rumble = { ...FULL_MIX, LFE: silence, Ls: lowPass(noise(6), 60, 4), Rs: lowPass(noise(7), 60, 4) }
    expect(identifyOrder(sourceOf(inOrder('itu', rumble))).order).toBe('itu')
  })

  test('NaN samples and a programme of one frame do no harm', () => {
    const broken = inOrder('itu', FULL_MIX).map((channel) =>
      channel.map((s, frame) => (frame % 1000 === 0 ? Number.NaN : s)),
    )
    expect(identifyOrder(sourceOf(broken)).order).toBe('itu')
    expect(identifyOrder({ ...sourceOf(inOrder('itu', FULL_MIX)), frameCount: 1 }).order).toBeNull()
  })
})
