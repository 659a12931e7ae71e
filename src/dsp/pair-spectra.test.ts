// Outside authority: spectra and correlations are held against their definitions (discrete Fourier transform, sums of
// products by lag), and the kernels against a plain twin, to the bit.
import { describe, expect, test } from 'vitest'
import { inKernelMemory, loadKernels } from '../../test/testkit/kernels.ts'
import { seededRandom } from '../../test/testkit/programmes.ts'
import {
  binReference,
  crossReference,
  logarithmsReference,
  type PairBin,
  strongestReference,
  sumReference,
} from './pair-spectra.reference.ts'
import { PairSpectrum } from './pair-spectra.ts'

const LENGTH = 256
const RANGE = { first: 1, end: LENGTH / 2 }
const kernels = loadKernels(8 * 1024 * 1024)
const window = Float32Array.from({ length: LENGTH }, (_, n) => 0.5 - 0.5 * Math.cos((2 * Math.PI * n) / LENGTH))

function noiseTrack(seed: number, length = 1001): Float32Array {
  const random = seededRandom(seed)
  return inKernelMemory(
    kernels,
    Float32Array.from({ length }, () => random() - 0.5),
  )
}

const pair = { left: noiseTrack(1), right: noiseTrack(2) }
const spectrum = new PairSpectrum(kernels, window, 48000)

/** What the tracks hold under the window around a frame; silence where they end. */
function windowed(track: Float32Array, centre: number): number[] {
  return Array.from(window, (weight, n) => Math.fround(weight * (track[centre - LENGTH / 2 + n] ?? 0)))
}

function transformed(signal: readonly number[], bin: number): { re: number; im: number } {
  let re = 0
  let im = 0
  signal.forEach((sample, n) => {
    re += sample * Math.cos((2 * Math.PI * bin * n) / LENGTH)
    im -= sample * Math.sin((2 * Math.PI * bin * n) / LENGTH)
  })
  return { re, im }
}

function binAt(bin: number): PairBin {
  return [...spectrum.bins.subarray(4 * bin, 4 * bin + 4)] as unknown as PairBin
}

const binsOf = ({ first, end }: typeof RANGE) => Array.from({ length: end - first }, (_, at) => binAt(first + at))

describe('power and cross spectra of two tracks', () => {
  // In the middle, beyond both ends, and off the groups of four that the kernel works on.
  test.each([500, 0, 37, 1001, 930, 1130])('around frame %i they are those of the transform', (centre) => {
    spectrum.lookAround(pair, centre, RANGE)
    const [left, right] = [windowed(pair.left, centre), windowed(pair.right, centre)]
    for (const bin of [1, 2, 17, 64, 127]) {
      const [l, r] = [transformed(left, bin), transformed(right, bin)]
      const wanted = [
        l.re * l.re + l.im * l.im,
        r.re * r.re + r.im * r.im,
        l.re * r.re + l.im * r.im,
        l.im * r.re - l.re * r.im,
      ]
      binAt(bin).forEach((value, part) => {
        expect(Math.abs(value - wanted[part]!)).toBeLessThan(1e-3)
      })
    }
  })

  test('are parted as the twin parts them, to the bit', () => {
    const [re, im] = [noiseTrack(3, LENGTH), noiseTrack(4, LENGTH)]
    const bins = inKernelMemory(kernels, new Float32Array(2 * LENGTH))
    kernels.exports.pairPart(re.byteOffset, im.byteOffset, LENGTH, RANGE.first, RANGE.end, bins.byteOffset)
    for (let bin = RANGE.first; bin < RANGE.end; bin++) {
      expect([...bins.subarray(4 * bin, 4 * bin + 4)]).toEqual(binReference(re, im, bin))
    }
  })
})

describe('sums over bins, to the bit', () => {
  test('by group, one look on top of another', () => {
    const edges = [1, 2, 9, 9, 40, 128]
    const groups = spectrum.takeGroups(edges)
    let wanted = edges.slice(1).map(() => [0, 0, 0, 0])
    for (const centre of [400, 500]) {
      spectrum.lookAround(pair, centre, RANGE)
      spectrum.addToGroups(groups)
      wanted = wanted.map((sums, group) => sumReference(binsOf({ first: edges[group]!, end: edges[group + 1]! }), sums))
    }
    expect([...groups.sums]).toEqual(wanted.flat())
  })

  test('the strongest bin, the first of equals', () => {
    spectrum.lookAround(pair, 500, RANGE)
    const range = { first: 3, end: 100 }
    const bins = binsOf(range)
    const places = [0, 1].map((side) => strongestReference(bins.map((bin) => bin[side]!)) + range.first)
    expect([...spectrum.strongest(range)]).toEqual([...sumReference(bins, [0, 0, 0, 0]).slice(0, 2), ...places])
    spectrum.bins.fill(1)
    expect([...spectrum.strongest(range)].slice(2)).toEqual([5, 5])
  })

  test('logarithms by groups of eight, of silence and of next to nothing too', () => {
    spectrum.lookAround(pair, 500, RANGE)
    const wanted = () => {
      const bins = binsOf({ first: 5, end: 5 + 80 })
      const logs = [0, 1].map((side) => logarithmsReference(bins.map((bin) => bin[side]!)))
      return [...sumReference(bins, [0, 0, 0, 0]).slice(0, 2), ...logs]
    }
    expect([...spectrum.logarithms(5, 10)]).toEqual(wanted())
    spectrum.bins[4 * 20] = 0
    for (let bin = 5; bin < 85; bin++) spectrum.bins[4 * bin + 1]! *= 1e-38
    expect([...spectrum.logarithms(5, 10)]).toEqual(wanted())
    expect(spectrum.logarithms(5, 10)[2]).toBe(Number.NEGATIVE_INFINITY)
  })
})

test('correlations by lag of three looks: sums to the bit, the lag of a late track, and the sum of products', () => {
  const late = inKernelMemory(
    kernels,
    Float32Array.from(pair.left, (_, n) => pair.left[n - 5] ?? 0),
  )
  const ring = [spectrum.takeCross(), spectrum.takeCross(), spectrum.takeCross()] as const
  ring.forEach((sums, at) => {
    for (const each of [sums.white, sums.plain, sums.powers]) each.fill(0)
    spectrum.lookAround({ left: pair.left, right: late }, 300 + 200 * at, RANGE)
    const bin = binAt(20)
    spectrum.addToCross(sums, RANGE)
    const [white, plain] = [crossReference([bin], true), crossReference([bin], false)]
    expect([...sums.white.subarray(40, 42)]).toEqual([white.re, white.im])
    expect([...sums.plain.subarray(40, 42)]).toEqual([plain.re, plain.im])
    expect([...sums.powers]).toEqual(sumReference(binsOf(RANGE), [0, 0, 0, 0]).slice(0, 2))
  })
  const white = 0.5 / (3 * (RANGE.end - RANGE.first))
  const correlations = spectrum.correlate(ring, RANGE, { white, plain: 1 / LENGTH })
  const strongest = correlations.white.reduce((best, value, lag) => (value > correlations.white[best]! ? lag : best), 0)
  expect(strongest).toBe(5)
  expect(correlations.white[5]!).toBeGreaterThan(0.9)
  const products = [300, 500, 700].map((centre) => {
    const [left, right] = [windowed(pair.left, centre), windowed(late, centre)]
    // Circular, as the transform is; the bins at 0 and at half the sample rate are left out of both.
    const without = (signal: readonly number[]) => {
      const mean = signal.reduce((a, b) => a + b) / LENGTH
      const fastest = signal.reduce((sum, sample, n) => sum + (n % 2 === 0 ? sample : -sample), 0) / LENGTH
      return signal.map((sample, n) => sample - mean - (n % 2 === 0 ? fastest : -fastest))
    }
    const [a, b] = [without(left), without(right)]
    return a.reduce((sum, sample, n) => sum + sample * b[(n + 5) % LENGTH]!, 0)
  })
  expect(Math.abs(correlations.plain[5]! - products.reduce((a, b) => a + b))).toBeLessThan(1e-3)
})
