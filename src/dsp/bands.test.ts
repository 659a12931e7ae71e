import { describe, expect, test } from 'vitest'
import { loadKernels } from '../../test/testkit/kernels.ts'
import { seededRandom } from '../../test/testkit/programmes.ts'
import type { BandsPlan, FrameRange } from '../domain/index.ts'
import { splitBandsReference, treatBandsReference } from './bands.reference.ts'
import { bandMarginFrames, bandProducts, bandSquares, treatBands } from './bands.ts'
import { takePlane } from './decode.ts'

const kernels = loadKernels(64 * 1024 * 1024)
const RATE = 48000
const FRAMES = 4 * RATE
const CROSSOVERS = [120, 800, 5000]

function noise(seed: number, frames = FRAMES): Float64Array {
  const random = seededRandom(seed)
  return Float64Array.from({ length: frames }, () => Math.fround(random() - 0.5))
}

/** A plan whose bands move by up to 12 dB between points 100 ms apart; `null` rests. */
function planOf(depths: readonly (number | null)[], hops = FRAMES / 4800): BandsPlan {
  const gainsDb = depths.map((depth, band) =>
    depth === null ? null : Float64Array.from({ length: hops }, (_, k) => -depth * Math.sin(0.3 * k + band) ** 2),
  )
  return { crossoversHz: CROSSOVERS, gainsDb }
}

function treated(
  signals: readonly Float64Array[],
  plan: BandsPlan,
  isWide = false,
  programme?: readonly FrameRange[],
  from = 0,
) {
  const mark = kernels.arena.mark()
  const frameCount = signals[0]!.length
  const planes = signals.map((signal) => {
    const plane = takePlane(kernels, frameCount, isWide)
    samplesOf(plane, frameCount).set(signal)
    return plane
  })
  treatBands(kernels, { planes, firstFrame: from, frameCount, sampleRateHz: RATE }, plan, programme)
  const results = planes.map((plane) => Float64Array.from(samplesOf(plane, frameCount)))
  kernels.arena.release(mark)
  return results
}

function samplesOf(plane: { readonly address: number; readonly isWide: boolean }, frameCount: number) {
  return new (plane.isWide ? Float64Array : Float32Array)(kernels.memory.buffer, plane.address, frameCount)
}

/** Gains of a band on every frame: linear in dB between the centres of 100 ms hops, held at the ends. */
function curveOf(gainDb: Float64Array | null): Float64Array {
  if (gainDb === null) return new Float64Array(FRAMES).fill(1)
  return Float64Array.from({ length: FRAMES }, (_, frame) => {
    const at = frame / 4800 - 0.5
    const point = (k: number) => gainDb[Math.max(0, Math.min(gainDb.length - 1, k))]!
    const k = Math.floor(at)
    return 10 ** ((point(k) + (at - k) * (point(k + 1) - point(k))) / 20)
  })
}

function largest(a: Float64Array, b: Float64Array): number {
  return a.reduce((most, value, i) => Math.max(most, Math.abs(value - b[i]!)), 0)
}

/** Whether two stretches hold the same samples; faster than comparing them one by one as objects. */
function same(a: Float64Array, b: Float64Array): boolean {
  return a.length === b.length && largest(a, b) === 0
}

describe('bands in add-back form', () => {
  test.each([false, true])('do what the slow twin does (wide planes: %s)', (isWide) => {
    const signals = [1, 2, 3].map((seed) => noise(seed))
    const plan = planOf([12, 6, 9, 4])
    const gains = plan.gainsDb.map(curveOf)
    for (const [index, result] of treated(signals, plan, isWide).entries()) {
      // Bands are kept in single precision: half a step of 24 bit.
      expect(largest(result, treatBandsReference(signals[index]!, CROSSOVERS, gains, RATE))).toBeLessThan(2 ** -23)
    }
  })

  test.each([[[12, null, null, null]], [[null, 7, null, null]], [[null, null, null, 5]], [[null, 3, 3, null]]])(
    'only some of them move: %j',
    (depths) => {
      const plan = planOf(depths)
      const expected = treatBandsReference(noise(4), CROSSOVERS, plan.gainsDb.map(curveOf), RATE)
      expect(largest(treated([noise(4)], plan)[0]!, expected)).toBeLessThan(2 ** -23)
    },
  )

  test('at rest no sample changes, not even by a bit; nor before and behind what acts', () => {
    const x = noise(5)
    expect(same(treated([x], planOf([null, null, null, null]))[0]!, x)).toBe(true)
    const zero = planOf([0, 0, 0, 0])
    expect(same(treated([x], zero)[0]!, x)).toBe(true)
    const gainDb = new Float64Array(FRAMES / 4800)
    gainDb[20] = -6
    const once = treated([x], { crossoversHz: CROSSOVERS, gainsDb: [null, gainDb, null, gainDb] })[0]!
    const [first, end] = [19.5 * 4800, 21.5 * 4800]
    expect(same(once.subarray(0, first), x.subarray(0, first))).toBe(true)
    expect(same(once.subarray(end), x.subarray(end))).toBe(true)
    expect(largest(once, x)).toBeGreaterThan(0.05)
  })

  test('all bands at one gain are that gain', () => {
    const x = noise(6)
    const gainDb = new Float64Array(FRAMES / 4800).fill(-6)
    const result = treated([x], { crossoversHz: CROSSOVERS, gainsDb: [gainDb, gainDb, gainDb, gainDb] })[0]!
    expect(
      largest(
        result,
        x.map((sample) => sample * 10 ** (-6 / 20)),
      ),
    ).toBeLessThan(2 ** -24)
  })

  test('a stretch that begins elsewhere gives the same bits', () => {
    const x = noise(7)
    const plan = planOf([12, 6, 9, 4])
    const whole = treated([x], plan)[0]!
    const [from, margin] = [33333, bandMarginFrames(RATE)]
    const part = treated([x.subarray(from)], plan, false, undefined, from)[0]!
    expect(same(part.subarray(margin), whole.subarray(from + margin))).toBe(true)
  })

  test('outside of the programme nothing changes', () => {
    const x = noise(8)
    const programme = [{ startFrame: 50_000, endFrame: 120_000 }]
    const result = treated([x], planOf([12, 6, 9, 4]), false, programme)[0]!
    expect(same(result.subarray(0, 50_000), x.subarray(0, 50_000))).toBe(true)
    expect(same(result.subarray(120_000), x.subarray(120_000))).toBe(true)
    expect(largest(result.subarray(50_000, 120_000), x.subarray(50_000, 120_000))).toBeGreaterThan(0.05)
  })
})

describe('levels of bands', () => {
  test('are the mean squares of the bands of the slow twin', () => {
    const signals = [noise(9), noise(10)]
    const mark = kernels.arena.mark()
    const planes = signals.map((signal) => {
      const plane = takePlane(kernels, FRAMES, false)
      samplesOf(plane, FRAMES).set(signal)
      return plane
    })
    const stretch = { planes, firstFrame: 0, frameCount: FRAMES, sampleRateHz: RATE }
    const squares = bandSquares(kernels, stretch, CROSSOVERS, { firstFrame: 0, frameCount: FRAMES })
    kernels.arena.release(mark)
    const worst = signals.flatMap((signal, channel) =>
      splitBandsReference(signal, CROSSOVERS, RATE).flatMap((band, b) =>
        Array.from({ length: FRAMES / 4800 }, (_, hop) => {
          const power = band.subarray(hop * 4800, (hop + 1) * 4800).reduce((sum, s) => sum + s * s, 0) / 4800
          return Math.abs(squares[(hop * 2 + channel) * 4 + b]! / power - 1)
        }),
      ),
    )
    expect(squares).toHaveLength((FRAMES / 4800) * 2 * 4)
    expect(Math.max(...worst)).toBeLessThan(1e-5)
  })
})

describe('products of a band', () => {
  test.each([
    [[300], 0],
    [[4000], 1],
    [[300, 4000], 1],
  ])('are those of the band and of the band of it, by the slow twin: corners %j, band %d', (crossoversHz, band) => {
    const signals = [noise(11), noise(12)]
    const mark = kernels.arena.mark()
    const planes = signals.map((signal, index) => {
      const plane = takePlane(kernels, FRAMES, index === 1)
      samplesOf(plane, FRAMES).set(signal)
      return plane
    })
    const stretch = { planes, firstFrame: 0, frameCount: FRAMES, sampleRateHz: RATE }
    const within = { firstFrame: 0, frameCount: FRAMES }
    const products = bandProducts(kernels, stretch, { crossoversHz, band }, within)
    kernels.arena.release(mark)
    const pairs = signals.map((signal) => {
      const once = splitBandsReference(signal, crossoversHz, RATE)[band]!
      return { signal, once, twice: splitBandsReference(once, crossoversHz, RATE)[band]! }
    })
    const mean = (hop: number, of: (pair: (typeof pairs)[number], i: number) => number) =>
      Array.from({ length: 4800 }, (_, i) => hop * 4800 + i)
        .flatMap((i) => pairs.map((pair) => of(pair, i) / 4800))
        .reduce((sum, value) => sum + value)
    const errors = Array.from({ length: FRAMES / 4800 }, (_, hop) => {
      const expected = [
        mean(hop, ({ signal, once, twice }, i) => (signal[i]! - 2 * once[i]! + twice[i]!) ** 2),
        mean(hop, ({ once }, i) => once[i]! ** 2),
        mean(hop, ({ once, twice }, i) => once[i]! * twice[i]!),
        mean(hop, ({ twice }, i) => twice[i]! ** 2),
      ]
      return Math.max(...expected.map((value, at) => Math.abs(products[4 * hop + at]! / value - 1)))
    })
    expect(Math.max(...errors)).toBeLessThan(1e-4)
  })
})
