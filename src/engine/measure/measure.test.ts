import fc from 'fast-check'
import { describe, expect, test } from 'vitest'
import { loadKernels } from '../../../test/testkit/kernels.ts'
import { seededRandom } from '../../../test/testkit/programmes.ts'
import { noisePlanes, sourceOf } from '../../../test/testkit/sources.ts'
import {
  type AudioSource,
  Cancelled,
  describeMeasured,
  framesPerHop,
  joinMeasured,
  LAYOUTS,
  type LayoutName,
  type Measured,
  segmentAt,
  segmentCount,
} from '../../domain/index.ts'
import { createPlaneMeter, measureSegment } from './index.ts'

const kernels = loadKernels(16 * 1024 * 1024)

/** One pass over all of it. */
function inOnePiece(source: AudioSource, peakHistory = false): Measured {
  const whole = { index: 0, firstFrame: 0, frameCount: source.frameCount }
  return measureSegment(kernels, source, whole, undefined, peakHistory)
}

/** Cut at these 100 ms borders and joined. */
function cutAt(source: AudioSource, hops: readonly number[]): Measured {
  const hopFrames = framesPerHop(source.format.sampleRateHz)
  const borders = [0, ...hops.map((hop) => hop * hopFrames), source.frameCount]
  const parts = borders.slice(0, -1).map((firstFrame, index) => {
    const frameCount = (borders[index + 1] as number) - firstFrame
    return measureSegment(kernels, source, { index, firstFrame, frameCount }, undefined, true)
  })
  return joinMeasured(parts)
}

/** Noise with a loud beginning, a DC offset, a quiet stretch and full-scale clicks, the hard case for a cut. */
function hardMaterial(channelCount: number, frameCount: number, seed: number): Float64Array[] {
  return noisePlanes(channelCount, frameCount, seededRandom(seed)).map((plane, channel) =>
    plane.map((x, n) => {
      if (n % 11_003 === channel) return n % 2 === 0 ? 1 : -1
      return 0.1 + x * (n < 9000 ? 0.8 : n % 20_000 < 6000 ? 1e-3 : 0.2)
    }),
  )
}

function expectSamePeaks(a: Measured, b: Measured): void {
  expect(a.channels).toEqual(b.channels)
  expect(a.foldDown).toEqual(b.foldDown)
  expect(a.linkedPeak100ms).toEqual(b.linkedPeak100ms)
  expect(a.lfePeak100ms).toEqual(b.lfePeak100ms)
  expect(a.truePeak100ms).toEqual(b.truePeak100ms)
  expect(a.foldDownTruePeak100ms).toEqual(b.foldDownTruePeak100ms)
}

function expectSameEnergies(a: Float64Array | null, b: Float64Array | null): void {
  expect(a?.length).toBe(b?.length)
  for (const [i, energy] of (a ?? []).entries()) {
    const other = (b as Float64Array)[i] as number
    expect(Math.abs(energy - other)).toBeLessThanOrEqual(1e-10 * other)
  }
}

describe('the result does not depend on where the programme is cut', () => {
  test('any borders on the 100 ms grid: peaks exactly, energies to 1e-10', () => {
    const layouts: readonly LayoutName[] = ['2.0', '5.1']
    const cases = fc.record({
      layout: fc.constantFrom(...layouts),
      sampleRateHz: fc.constantFrom(44100, 48000, 192000),
      seed: fc.integer({ min: 1, max: 1000 }),
      hops: fc.uniqueArray(fc.integer({ min: 1, max: 12 }), { maxLength: 4 }),
      tail: fc.integer({ min: 1, max: 4000 }),
    })
    fc.assert(
      fc.property(cases, ({ layout, sampleRateHz, seed, hops, tail }) => {
        const frameCount = 12 * framesPerHop(sampleRateHz) + tail
        const planes = hardMaterial(LAYOUTS[layout].length, frameCount, seed)
        const source = sourceOf(planes, layout, sampleRateHz, 'float32')
        const whole = inOnePiece(source, true)
        expect(whole.truePeak100ms).toHaveLength(LAYOUTS[layout].length * 13)
        const cut = cutAt(
          source,
          hops.toSorted((a, b) => a - b),
        )
        expectSamePeaks(cut, whole)
        expectSameEnergies(cut.programme10ms, whole.programme10ms)
        expectSameEnergies(cut.foldDown10ms, whole.foldDown10ms)
        expectSameEnergies(cut.channels100ms, whole.channels100ms)
      }),
      { numRuns: 12, seed: 1 },
    )
  })

  test('the segments of the grid, joined, are the programme', () => {
    const source = sourceOf(hardMaterial(2, 48000 * 26, 5), '2.0', 48000, 'int16')
    const parts = Array.from({ length: segmentCount(source.frameCount, 48000) }, (_, index) =>
      measureSegment(kernels, source, segmentAt(index, source.frameCount, 48000)),
    )
    expect(parts).toHaveLength(2)
    const [whole, joined] = [describeMeasured(inOnePiece(source)), describeMeasured(joinMeasured(parts))]
    expect(joined.programmeLoudnessLkfs).toBeCloseTo(whole.programmeLoudnessLkfs as number, 10)
    expect(joined.maxTruePeakDbtp).toBe(whole.maxTruePeakDbtp)
    expect(joined.frameCount).toBe(whole.frameCount)
  })

  test('a signal in planes measures as the file of it, however the runs are cut', () => {
    const planes = hardMaterial(6, 31_234, 9)
    const source = sourceOf(planes, '5.1')
    for (const runFrames of [4800, 1, 77, 480]) {
      const mark = kernels.arena.mark()
      const meter = createPlaneMeter(kernels, { sampleRateHz: 48000, layout: '5.1', firstFrame: 0 })
      for (let frame = 0; frame < 31_234; frame += runFrames) {
        const frames = Math.min(runFrames, 31_234 - frame)
        for (const [channel, plane] of planes.entries()) {
          meter.planes[channel]?.set(plane.subarray(frame, frame + frames))
        }
        meter.run(frames)
      }
      expect(meter.finish(true)).toEqual(inOnePiece(source))
      kernels.arena.release(mark)
    }
  })
})

describe('laws', () => {
  const planes = hardMaterial(6, 48000 * 4, 3)
  const before = describeMeasured(inOnePiece(sourceOf(planes, '5.1')))

  test('a gain of x dB moves loudness and peaks by x', () => {
    fc.assert(
      fc.property(fc.double({ min: -30, max: 12, noNaN: true }), (gainDb) => {
        const gained = planes.map((plane) => plane.map((x) => x * 10 ** (gainDb / 20)))
        const after = describeMeasured(inOnePiece(sourceOf(gained, '5.1')))
        for (const figure of [
          'programmeLoudnessLkfs',
          'maxMomentaryLkfs',
          'maxShortTermLkfs',
          'samplePeakDbfs',
        ] as const) {
          expect(Math.abs((after[figure] ?? 0) - (before[figure] ?? 0) - gainDb)).toBeLessThan(1e-6)
        }
        expect(Math.abs((after.maxTruePeakDbtp ?? 0) - (before.maxTruePeakDbtp ?? 0) - gainDb)).toBeLessThan(1e-5)
      }),
      { numRuns: 6, seed: 1 },
    )
  })

  test('swapping left and right swaps their figures and nothing else', () => {
    const [l, r, c, lfe, ls, rs] = planes as Float64Array[] & { length: 6 }
    const after = describeMeasured(inOnePiece(sourceOf([r, l, c, lfe, rs, ls], '5.1')))
    expect(after.programmeLoudnessLkfs).toBeCloseTo(before.programmeLoudnessLkfs as number, 9)
    expect(after.foldDown.loRo?.programmeLoudnessLkfs).toBeCloseTo(
      before.foldDown.loRo?.programmeLoudnessLkfs as number,
      9,
    )
    expect(after.maxTruePeakDbtp).toBe(before.maxTruePeakDbtp)
    expect(after.channels[0]?.maxTruePeakDbtp).toBe(before.channels[1]?.maxTruePeakDbtp)
    expect(after.channels[5]?.samplePeakDbfs).toBe(before.channels[4]?.samplePeakDbfs)
  })

  test('the LFE does not count in loudness or fold-down, but in the peaks (BS.1770-5 Annex 1 Table 3, Annex 2)', () => {
    const louder = planes.map((plane, channel) => (channel === 3 ? plane.map((x) => 4 * x) : plane))
    const after = describeMeasured(inOnePiece(sourceOf(louder, '5.1')))
    expect(after.programmeLoudnessLkfs).toBe(before.programmeLoudnessLkfs)
    expect(after.foldDown.loRo).toEqual(before.foldDown.loRo)
    expect(after.channels[3]?.samplePeakDbfs).toBeCloseTo((before.channels[3]?.samplePeakDbfs ?? 0) + 12.0412, 4)
    expect(after.samplePeakDbfs).toBe(after.channels[3]?.samplePeakDbfs)
  })

  test('the polarity of a channel changes no loudness of the 5.1', () => {
    const turned = planes.map((plane, channel) => (channel === 1 ? plane.map((x) => -x) : plane))
    expect(describeMeasured(inOnePiece(sourceOf(turned, '5.1'))).programmeLoudnessLkfs).toBe(
      before.programmeLoudnessLkfs,
    )
  })
})

describe('hard input', () => {
  const stereo = (frameCount: number, at: (n: number) => number) => {
    const plane = Float64Array.from({ length: frameCount }, (_, n) => at(n))
    return inOnePiece(sourceOf([plane, plane], '2.0'))
  }

  test('silence and programmes shorter than a window have no figures', () => {
    const silent = describeMeasured(stereo(96_000, () => 0))
    expect(silent).toMatchObject({ programmeLoudnessLkfs: null, maxTruePeakDbtp: null, samplePeakDbfs: null })
    const short = describeMeasured(stereo(14_400, () => 0.5))
    expect(short).toMatchObject({ programmeLoudnessLkfs: null, maxMomentaryLkfs: null, loudnessRangeLu: null })
    expect(short.samplePeakDbfs).toBeCloseTo(-6.02, 2)
  })

  test('one frame', () => {
    const one = stereo(1, () => -0.5)
    expect(one.frameCount).toBe(1)
    expect(one.programme10ms).toHaveLength(0)
    expect(one.linkedPeak100ms).toEqual(new Float64Array([0.5]))
    // A lone sample stands between two points of the table, 0.972 and 0.780 of it: the sample itself is the peak.
    expect(one.channels[0]).toEqual({
      samplePeak: { value: 0.5, frameIndex: 0 },
      truePeak: { value: 0.5, frameIndex: 0 },
    })
  })

  test('a constant is filtered away: once its start has rung out nothing passes the gate', () => {
    const powers = stereo(96_000, () => 1).programme10ms
    expect(powers[0]).toBeGreaterThan(0.01)
    for (const power of powers.subarray(100)) expect(power).toBeLessThan(1e-20)
  })

  test('a full-scale square wave peaks beside its edges as the table says', () => {
    const square = stereo(48_000, (n) => (n % 96 < 48 ? 1 : -1))
    const { samplePeak, truePeak } = square.channels[0] as (typeof square.channels)[0]
    expect(samplePeak.value).toBe(1)
    // Taps of phase 1 of BS.1770-5 Annex 2 add up to 0.97302 in all and to 1.11584 up to tap 6: with all later samples
    // on the other side of the edge the point is 2 x 1.11584 - 0.97302.
    expect(truePeak.value).toBeCloseTo(1.25867, 4)
  })

  test('silence after sound is exactly 0 within a second, also in one channel beside others that sound', () => {
    // Filters that ring on for ever end in denormal numbers, which take several times as long to compute.
    const [left, right] = noisePlanes(2, 96_000, seededRandom(4)) as [Float64Array, Float64Array]
    const stopped = right.map((x, n) => (n < 24_000 ? x : 0))
    const channels = inOnePiece(sourceOf([left, stopped], '2.0')).channels100ms
    for (let hop = 0; hop < 20; hop++) {
      expect(channels[2 * hop]).toBeGreaterThan(0.1)
      if (hop >= 15) expect(channels[2 * hop + 1]).toBe(0)
    }
  })

  test('samples that are not numbers count and are taken as silence', () => {
    const plane = Float64Array.from({ length: 48_000 }, (_, n) => Math.sin(n / 10))
    const holed = plane.slice()
    const filled = plane.slice()
    for (const [n, value] of [
      [100, Number.NaN],
      [20_000, Number.POSITIVE_INFINITY],
      [30_001, Number.NEGATIVE_INFINITY],
    ] as const) {
      holed[n] = value
      filled[n] = 0
    }
    for (const encoding of ['float32', 'float64'] as const) {
      const measured = inOnePiece(sourceOf([plane, holed], '2.0', 48000, encoding))
      expect(measured.nonFiniteSampleCount).toBe(3)
      const { nonFiniteSampleCount: _, ...rest } = measured
      const { nonFiniteSampleCount: none, ...expected } = inOnePiece(sourceOf([plane, filled], '2.0', 48000, encoding))
      expect(none).toBe(0)
      expect(rest).toEqual(expected)
    }
    const mono = inOnePiece(sourceOf([holed], 'mono', 48000, 'float32'))
    expect(mono.nonFiniteSampleCount).toBe(3)
  })

  test('the peak is found at its place, between samples too', () => {
    const place = 31_111
    const burst = stereo(48_000, (n) => {
      const t = (n - place - 0.5) / 3
      return 0.9 * Math.exp(-t * t) * Math.cos((Math.PI / 2) * (n - place - 0.5)) + 0.01 * Math.sin(n / 7)
    })
    const { truePeak, samplePeak } = burst.channels[1] as (typeof burst.channels)[0]
    expect(truePeak.value).toBeGreaterThan(1.2 * samplePeak.value)
    expect(Math.abs(truePeak.frameIndex - place)).toBeLessThanOrEqual(1)
  })
})

test('memory is given back, also when the work is cancelled', () => {
  const source = sourceOf(hardMaterial(2, 48_000, 1), '2.0')
  const mark = kernels.arena.mark()
  inOnePiece(source)
  expect(() => {
    measureSegment(kernels, source, { index: 0, firstFrame: 0, frameCount: 48_000 }, { aborted: true })
  }).toThrow(Cancelled)
  expect(kernels.arena.mark()).toBe(mark)
})
