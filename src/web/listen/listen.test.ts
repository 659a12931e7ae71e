import { describe, expect, test } from 'vitest'
import { framesPerHop, LAYOUTS } from '../../domain/index.ts'
import { matrixOf, planesOf, trimGainAt } from './heard.ts'
import { type Asked, MixingDesk } from './mixing-desk.ts'

const RATE = 48000
const HOP = framesPerHop(RATE)
const CHUNK = RATE
const all = () => true

describe('loudspeakers', () => {
  test('Lo/Ro by ITU-R BS.775-4 Table 2: centre and surrounds at -3 dB, no LFE', () => {
    const k = Math.SQRT1_2
    expect(matrixOf(LAYOUTS['5.1'], 'lo-ro', 2, all)).toEqual([
      [1, 0, k, 0, k, 0],
      [0, 1, k, 0, 0, k],
    ])
  })

  test('a device with two outputs folds down by itself; one with six plays each channel alone', () => {
    expect(matrixOf(LAYOUTS['5.1'], 'own', 2, all)).toEqual(matrixOf(LAYOUTS['5.1'], 'lo-ro', 2, all))
    expect(matrixOf(LAYOUTS['5.1'], 'own', 6, all)[3]).toEqual([0, 0, 0, 1, 0, 0])
  })

  test('a muted channel is nowhere; mono comes from both sides alike', () => {
    const [left, right] = matrixOf(LAYOUTS['5.1'], 'mono', 2, (role) => role !== 'C')
    expect(left).toEqual(right)
    expect(left![2]).toBe(0)
    expect(left![0]).toBe(0.5)
  })
})

test('samples of every encoding come out as they are written (two’s complement, little-endian; IEEE 754)', () => {
  const bytes = Uint8Array.of(0xff, 0xff, 0x7f, 0x00, 0x00, 0x80, 0x01, 0x00, 0x00, 0xff, 0xff, 0xff)
  const [left, right] = planesOf(bytes.buffer, 'int24', 2)
  expect([...left!]).toEqual([8388607 / 8388608, 1 / 8388608])
  expect([...right!]).toEqual([-1, -1 / 8388608])
  const floats = planesOf(Float32Array.of(0.25, -0.5).buffer, 'float32', 2)
  expect(floats.map((plane) => [...plane])).toEqual([[0.25], [-0.5]])
})

test('a trim is a straight line in dB between the centres of two 100 ms, and held at the ends', () => {
  const points = Float64Array.of(0, -6, -6)
  const db = (frame: number) => 20 * Math.log10(trimGainAt(points, frame, HOP))
  expect(db(0)).toBeCloseTo(0, 6)
  expect(db(HOP)).toBeCloseTo(-3, 6)
  expect(db(2 * HOP)).toBeCloseTo(-6, 6)
  expect(db(100 * HOP)).toBeCloseTo(-6, 6)
})

describe('the player', () => {
  const asked: Asked = {
    listening: 'trimmed',
    matrix: matrixOf(LAYOUTS['2.0'], 'own', 2, all),
    monitorGain: 1,
    pointsDb: new Float64Array(600).fill(-6),
  }
  const tone = Float32Array.from({ length: CHUNK }, () => 0.5)
  const player = (more: Partial<Asked> = {}) => {
    const desk = new MixingDesk(RATE, HOP, CHUNK, { ...asked, ...more })
    for (let chunk = 0; chunk < 4; chunk++) desk.give({ firstFrame: chunk * CHUNK, planes: [tone, tone] })
    desk.isPlaying = true
    return desk
  }
  const played = (desk: MixingDesk, frames: number) => {
    const outputs = [new Float32Array(frames), new Float32Array(frames)]
    desk.render(outputs)
    return outputs[0]!
  }

  test('rises from silence and never jumps up: no step above 40 dB a second', () => {
    const heard = played(player(), 3 * RATE)
    expect(Math.abs(heard[0]!)).toBeLessThan(1e-4)
    for (let i = 1; i < heard.length; i++) expect(heard[i]! - heard[i - 1]!).toBeLessThan(1e-4)
    expect(heard.at(-1)).toBeCloseTo(0.5 * 10 ** (-6 / 20), 5)
  })

  test('source, trimmed and difference: the difference and the trimmed sum up to the source', () => {
    const last = (listening: Asked['listening']) => played(player({ listening }), 3 * RATE).at(-1)!
    expect(last('source')).toBeCloseTo(0.5, 5)
    expect(last('trimmed') + last('difference')).toBeCloseTo(last('source'), 5)
  })

  test('waits for what has not come, and goes on where it stopped', () => {
    const desk = new MixingDesk(RATE, HOP, CHUNK, asked)
    desk.isPlaying = true
    expect(played(desk, 1000).every((sample) => sample === 0)).toBe(true)
    expect(desk.frame).toBe(0)
    desk.give({ firstFrame: 0, planes: [tone, tone] })
    played(desk, 1000)
    expect(desk.frame).toBe(1000)
  })
})
