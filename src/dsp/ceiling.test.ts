import fc from 'fast-check'
import { describe, expect, test } from 'vitest'
import { loadKernels } from '../../test/testkit/kernels.ts'
import { seededRandom } from '../../test/testkit/programmes.ts'
import { hannWindow, interpolated, kaiserWindow, shapedGain } from './ceiling.reference.ts'
import { keepBelowCeiling } from './ceiling.ts'
import { annex2Interpolator, hannInterpolator, type Interpolator, sincInterpolator } from './ceiling-interpolators.ts'
import { takePlane } from './decode.ts'
import { takeGain } from './gain.ts'
import { TRUE_PEAK_PHASES } from './true-peak.ts'

const kernels = loadKernels(32 * 1024 * 1024)
const UNITY = 2 ** 30
const BLOCK = 64

/** Highest magnitudes between each frame of one block and the next, of a signal of five blocks around it. */
function interpolatedBlock(interpolator: Interpolator, signal: Float32Array): Float32Array {
  const mark = kernels.arena.mark()
  const line = kernels.arena.take(signal.byteLength)
  const between = kernels.arena.take(BLOCK * 4)
  const table = kernels.arena.take(interpolator.table.byteLength)
  const { buffer } = kernels.memory
  new Float32Array(buffer, line, signal.length).set(signal)
  new Float32Array(buffer, table, interpolator.table.length).set(interpolator.table)
  const result = new Float32Array(buffer, between, BLOCK).fill(0)
  const { couples, tapsPerSide } = interpolator
  kernels.exports.interpolateBlock(line + 2 * BLOCK * 4, between, table, couples, tapsPerSide)
  kernels.arena.release(mark)
  return result.slice()
}

const INTERPOLATORS = [
  {
    name: '4x, 48 taps',
    interpolator: sincInterpolator(4, 24, 6),
    ratio: 4,
    valueAt: (x: Float32Array, position: number) => interpolated(x, position, 24, kaiserWindow(6), true),
  },
  {
    name: '16x, 96 taps',
    interpolator: sincInterpolator(16, 48, 6),
    ratio: 16,
    valueAt: (x: Float32Array, position: number) => interpolated(x, position, 48, kaiserWindow(6), true),
  },
  {
    name: '4x, Hann, 12 taps',
    interpolator: hannInterpolator(),
    ratio: 4,
    valueAt: (x: Float32Array, position: number) => interpolated(x, position, 6, hannWindow, false),
  },
]

describe('the interpolators of the ceiling', () => {
  const random = seededRandom(5)
  const signal = Float32Array.from({ length: 5 * BLOCK }, () => 2 * random() - 1)

  test.each(INTERPOLATORS)('$name: every block peak is that of the windowed sinc by its definition', (row) => {
    const found = interpolatedBlock(row.interpolator, signal)
    for (let k = 0; k < BLOCK; k++) {
      const positions = Array.from({ length: row.ratio - 1 }, (_, p) => 2 * BLOCK + k + (p + 1) / row.ratio)
      const wanted = Math.max(...positions.map((position) => Math.abs(row.valueAt(signal, position))))
      expect(found[k]).toBeCloseTo(wanted, 5)
    }
  })

  test('Annex 2: every block peak is that of convolving with the printed table', () => {
    const found = interpolatedBlock(annex2Interpolator(), signal)
    const phases = [...TRUE_PEAK_PHASES, ...TRUE_PEAK_PHASES.map((phase) => phase.toReversed())]
    for (let k = 0; k < BLOCK; k++) {
      // Tap 5 of a phase meets frame n - 5; the output lies between frames n - 6 and n - 5.
      const n = 2 * BLOCK + k + 6
      const outputs = phases.map((phase) => phase.reduce((sum, tap, i) => sum + tap * (signal[n - i] as number), 0))
      expect(found[k]).toBeCloseTo(Math.max(...outputs.map(Math.abs)), 5)
    }
  })

  test('Annex 2 can lift a sample by at most the sum of magnitudes of its inner phase', () => {
    // Added up from the table of ITU-R BS.1770-5 Annex 2.
    expect(annex2Interpolator().absoluteSum).toBe(2.0228271484375)
  })

  test.each([
    ['48 taps', sincInterpolator(4, 24, 6), 4, 0.46],
    ['96 taps', sincInterpolator(16, 48, 6), 16, 0.48],
  ] as const)('%s: flat within 0.02 dB up to the stated share of the rate', (_, { table, tapsPerSide }, ratio, top) => {
    for (let pair = 0; pair < ratio / 2; pair++) {
      for (let frequency = 0; frequency <= top + 1e-9; frequency += 0.01) {
        let [real, imaginary] = [0, 0]
        for (let t = 0; t < tapsPerSide; t++) {
          const at = ((pair >> 1) * tapsPerSide + t) * 4 + (pair & 1) * 2
          const [even, odd] = [table[at] as number, table[at + 1] as number]
          const distances = [
            [even + odd, -t],
            [even - odd, 1 + t],
          ] as const
          for (const [tap, frame] of distances) {
            real += tap * Math.cos(2 * Math.PI * frequency * frame)
            imaginary += tap * Math.sin(2 * Math.PI * frequency * frame)
          }
        }
        expect(Math.abs(20 * Math.log10(Math.hypot(real, imaginary)))).toBeLessThan(0.02)
      }
    }
  })

  test('the bounds that let blocks be skipped hold on any samples', () => {
    const sample = fc.oneof(fc.constantFrom(-1, 0, 1), fc.double({ min: -1, max: 1, noNaN: true }))
    const slope = fc.double({ min: -1, max: 1, noNaN: true })
    const line = fc.tuple(fc.array(sample, { minLength: 100, maxLength: 100 }), slope, slope, fc.boolean())
    fc.assert(
      fc.property(line, ([samples, tilt, level, isSmooth]) => {
        const x = Float32Array.from({ length: 5 * BLOCK }, (_, k) =>
          isSmooth ? level + (tilt * k) / 320 + (samples[k % 100] as number) / 50 : (samples[k % 100] as number),
        )
        const bend = x.reduce((most, _, k) => {
          if (k === 0 || k + 1 === x.length) return most
          return Math.max(most, Math.abs((x[k - 1] as number) - 2 * (x[k] as number) + (x[k + 1] as number)))
        }, 0)
        const near = Math.max(...x.slice(2 * BLOCK, 3 * BLOCK + 1).map(Math.abs))
        const wide = Math.max(...x.map(Math.abs))
        for (const interpolator of [...INTERPOLATORS.map((row) => row.interpolator), annex2Interpolator()]) {
          const peak = Math.max(...interpolatedBlock(interpolator, x))
          expect(peak).toBeLessThanOrEqual(interpolator.absoluteSum * wide * 1.00001 + 1e-7)
          expect(peak).toBeLessThanOrEqual((interpolator.straight * near + interpolator.bent * bend) * 1.00001 + 1e-7)
        }
      }),
      { seed: 1770, numRuns: 200 },
    )
  })
})

type Shape = { reach: number; hold: number; rise: number; boxes: [number, number, number] }

function shaped(required: Int32Array, shape: Shape): Float64Array {
  const mark = kernels.arena.mark()
  const { buffer } = kernels.memory
  const count = required.length
  const blocks = Math.ceil(count / BLOCK)
  const take = (bytes: number) => kernels.arena.take(bytes)
  const address = take(blocks * BLOCK * 4)
  const padded = new Int32Array(buffer, address, blocks * BLOCK).fill(UNITY)
  padded.set(required)
  const minima = take(blocks * 4)
  new Int32Array(buffer, minima, blocks).set(
    Array.from({ length: blocks }, (_, b) =>
      padded.subarray(b * BLOCK, (b + 1) * BLOCK).reduce((a, x) => Math.min(a, x)),
    ),
  )
  const gain = takeGain(kernels, count)
  const touched = take(blocks)
  const { reach, hold, rise, boxes } = shape
  const rings = take((2 * reach + 3) * 8)
  const queue = take((2 * reach + hold + 2) * 8)
  const { exports } = kernels
  exports.shapeGain(address, minima, blocks, count, gain, touched, reach, hold, rise, ...boxes, queue, rings)
  kernels.arena.release(mark)
  return new Float64Array(buffer, gain, count).slice()
}

describe('shaping the gain', () => {
  const shapes = fc.record({
    reach: fc.integer({ min: 1, max: 40 }),
    hold: fc.integer({ min: 0, max: 90 }),
    rise: fc.constantFrom(1.0001, 1.01, 1.3),
  })
  const needs = fc.array(fc.tuple(fc.nat(999), fc.double({ min: 0, max: 1, noNaN: true })), { maxLength: 12 })

  test('equals its definition bit for bit and never exceeds what a frame requires', () => {
    fc.assert(
      fc.property(shapes, needs, fc.integer({ min: 1, max: 1000 }), ({ reach, hold, rise }, asked, count) => {
        const required = new Int32Array(count).fill(UNITY)
        for (const [frame, gain] of asked) required[frame % count] = Math.floor(gain * UNITY)
        const boxes: [number, number, number] = [
          Math.floor((2 * reach) / 3) + 1,
          Math.floor((2 * reach + 1) / 3) + 1,
          0,
        ]
        boxes[2] = 2 * reach + 3 - boxes[0] - boxes[1]
        const shape = { reach, hold, rise, boxes }
        const curve = shaped(required, shape)
        expect(curve).toEqual(shapedGain(required, shape))
        expect(curve.every((gain, frame) => gain * UNITY <= (required[frame] as number))).toBe(true)
      }),
      { seed: 60, numRuns: 300 },
    )
  })
})

describe('the linked ceiling', () => {
  /** Runs the ceiling on two planes that are linked, and gives back its gain. */
  function gainOver(signals: readonly Float64Array[], ceiling: number, sampleRateHz = 48000) {
    const mark = kernels.arena.mark()
    const frameCount = signals[0]?.length ?? 0
    const planes = signals.map((signal) => {
      const plane = takePlane(kernels, frameCount, true)
      new Float64Array(kernels.memory.buffer, plane.address, frameCount).set(signal)
      return plane
    })
    const commonGain = takeGain(kernels, frameCount)
    const ceilingGain = takeGain(kernels, frameCount)
    const hasActed = keepBelowCeiling(kernels, {
      signals: planes.map((plane) => [{ plane, weight: 1 }]),
      frameCount,
      sampleRateHz,
      commonGain,
      ceilingGain,
      ceiling,
    })
    const gain = new Float64Array(kernels.memory.buffer, ceilingGain, frameCount).slice()
    kernels.arena.release(mark)
    return { gain, hasActed }
  }

  const tone = (amplitude: number, frames = 24000) =>
    Float64Array.from({ length: frames }, (_, n) => {
      const edge = Math.min(1, n / 4800, (frames - 1 - n) / 4800)
      return amplitude * edge * Math.sin((2 * Math.PI * 997 * n) / 48000)
    })

  test('rests, touching nothing, on a signal below it', () => {
    const { gain, hasActed } = gainOver([tone(0.49), tone(0.2)], 0.5)
    expect(hasActed).toBe(false)
    expect(new Set(gain)).toEqual(new Set([1]))
  })

  test('one gain for all: the louder signal decides', () => {
    const alone = gainOver([tone(0.8)], 0.5)
    const together = gainOver([tone(0.8), tone(0.1)], 0.5)
    expect(together.hasActed).toBe(true)
    expect(together.gain).toEqual(alone.gain)
  })

  test('takes what is needed and less than 0.03 dB more of a steady tone', () => {
    const { gain } = gainOver([tone(0.8)], 0.5)
    const middle = gain[12000] as number
    expect(middle).toBeLessThanOrEqual(0.5 / 0.8)
    expect(20 * Math.log10(middle / (0.5 / 0.8))).toBeGreaterThan(-0.03)
  })

  test.each([32000, 88200, 192000])('holds at %i Hz, where it has other phases', (rate) => {
    const random = seededRandom(rate)
    const noise = Float64Array.from({ length: rate / 4 }, () => 2 * random() - 1)
    const { gain } = gainOver([noise], 0.5, rate)
    const limited = Float32Array.from(noise, (sample, n) => sample * (gain[n] as number))
    const ratio = rate < 80000 ? 16 : rate < 160000 ? 8 : 4
    let worst = 0
    for (let n = 0; n < 2000; n++) {
      for (let p = 0; p < ratio; p++) {
        const value = p === 0 ? limited[n] : interpolated(limited, n + p / ratio, 48, kaiserWindow(6), true)
        worst = Math.max(worst, Math.abs(value as number))
      }
    }
    expect(worst).toBeLessThanOrEqual(0.5)
    expect(worst).toBeGreaterThan(0.4)
  })

  test.each([
    ['digital silence', new Float64Array(5000)],
    ['one frame', Float64Array.of(0.9)],
    ['a full-scale offset', new Float64Array(5000).fill(1)],
    ['the loudest that a decoder lets pass', new Float64Array(5000).fill(65536)],
    ['the softest number', new Float64Array(5000).fill(5e-324)],
    ['a click at either edge', Float64Array.from({ length: 5000 }, (_, n) => (n % 4999 === 0 ? 1 : 0))],
  ])('is never without a gain between 0 and 1: %s', (_, signal) => {
    const { gain } = gainOver([signal], 0.5)
    expect(gain.every((value) => value > 0 && value <= 1)).toBe(true)
    expect(signal.every((sample, n) => Math.abs(sample * (gain[n] as number)) <= 0.5)).toBe(true)
  })
})
