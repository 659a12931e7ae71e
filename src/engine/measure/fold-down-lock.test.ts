import { describe, expect, test } from 'vitest'
import { loadKernels } from '../../../test/testkit/kernels.ts'
import { seededRandom } from '../../../test/testkit/programmes.ts'
import { sourceOf } from '../../../test/testkit/sources.ts'
import { LAYOUTS } from '../../domain/index.ts'
import { compareFoldDown, compareWithMaster, masterNullDbfs } from './fold-down-lock.ts'

const kernels = loadKernels(4 * 1024 * 1024)
const FRAMES = 20000
const segment = (firstFrame: number, frameCount: number) => ({ index: 0, firstFrame, frameCount })

function planes(count: number, seed: number, peak: number): Float64Array[] {
  const random = seededRandom(seed)
  return Array.from({ length: count }, () => Float64Array.from({ length: FRAMES }, () => peak * (2 * random() - 1)))
}

/** Words as fractions of full scale, and their Lo/Ro by the sentence of BS.775: front + 0.7071.. C + 0.7071.. surrounds. */
function programme(layout: '5.0' | '5.1' | '7.1', steps: number) {
  const words = planes(LAYOUTS[layout].length, 775, 0.3 * steps).map((plane) => plane.map(Math.round))
  const at = (role: string) => words[(LAYOUTS[layout] as readonly string[]).indexOf(role)] ?? new Float64Array(FRAMES)
  const k = Math.sqrt(0.5)
  const side = (...roles: readonly string[]) => {
    const [front, centre, surround, rear] = roles.map(at) as [Float64Array, Float64Array, Float64Array, Float64Array]
    return front.map((word, n) => Math.round(word + k * centre[n]! + k * surround[n]! + k * rear[n]!) / steps)
  }
  return {
    channels: words.map((plane) => plane.map((word) => word / steps)),
    lo: side('L', 'C', 'Ls', 'Lrs'),
    ro: side('R', 'C', 'Rs', 'Rrs'),
  }
}

describe('comparing a fold-down', () => {
  test.each([
    ['5.0', 'int24', 8388608],
    ['5.1', 'int24', 8388608],
    ['5.1', 'int16', 32768],
    ['7.1', 'int24', 8388608],
  ] as const)('%s %s: none differ, then exactly those that were changed', (layout, encoding, steps) => {
    const { channels, lo, ro } = programme(layout, steps)
    const multichannel = sourceOf(channels, layout, 48000, encoding)
    expect(
      compareFoldDown(kernels, multichannel, sourceOf([lo, ro], '2.0', 48000, encoding), segment(0, FRAMES)),
    ).toEqual({
      sampleCount: 2 * FRAMES,
      differingSamples: 0,
      largestDifferenceLsb: 0,
    })
    lo[7] = lo[7]! + 1 / steps
    ro[9000] = ro[9000]! - 12 / steps
    ro[19999] = ro[19999]! + 3 / steps
    const spoiled = sourceOf([lo, ro], '2.0', 48000, encoding)
    expect(compareFoldDown(kernels, multichannel, spoiled, segment(0, FRAMES))).toMatchObject({
      differingSamples: 3,
      largestDifferenceLsb: 12,
    })
    expect(compareFoldDown(kernels, multichannel, spoiled, segment(9001, 5000)).differingSamples).toBe(0)
  })

  // ATSC A/52 7.8.2 (from memory), surrounds not turned: Lt = L + k C - k (Ls + Rs), Rt = R + k C + k (Ls + Rs).
  test('by the law of Lt/Rt: none differ, then exactly the one that was changed', () => {
    const steps = 8388608
    const { channels } = programme('5.1', steps)
    const k = Math.sqrt(0.5)
    const [left, right, centre, , ls, rs] = channels as [
      Float64Array,
      Float64Array,
      Float64Array,
      Float64Array,
      Float64Array,
      Float64Array,
    ]
    const track = (front: Float64Array, sign: 1 | -1) =>
      front.map((l, n) => Math.round(steps * (l + k * centre[n]! + sign * k * (ls[n]! + rs[n]!))) / steps)
    const [lt, rt] = [track(left, -1), track(right, 1)]
    const compared = () =>
      compareFoldDown(
        kernels,
        sourceOf(channels, '5.1', 48000, 'int24'),
        sourceOf([lt, rt], '2.0', 48000, 'int24'),
        segment(0, FRAMES),
        'lt-rt',
      )
    expect(compared()).toMatchObject({ differingSamples: 0 })
    rt[123] = rt[123]! + 2 / steps
    expect(compared()).toMatchObject({ differingSamples: 1, largestDifferenceLsb: 2 })
  })

  test('the LFE has no say', () => {
    const { channels, lo, ro } = programme('5.1', 8388608)
    channels[3]?.fill(0.9)
    const found = compareFoldDown(
      kernels,
      sourceOf(channels, '5.1', 48000, 'int24'),
      sourceOf([lo, ro], '2.0', 48000, 'int24'),
      segment(0, FRAMES),
    )
    expect(found.differingSamples).toBe(0)
  })

  test('a fold-down beyond full scale is held at the end of the word', () => {
    const plane = new Float64Array(4).fill(0.9)
    const multichannel = sourceOf([plane, plane, plane, plane, plane, plane], '5.1', 48000, 'int16')
    const stereo = sourceOf([plane.map(() => 1), plane.map(() => 1)], '2.0', 48000, 'int16')
    expect(compareFoldDown(kernels, multichannel, stereo, segment(0, 4)).differingSamples).toBe(0)
  })
})

describe('comparing with the master', () => {
  const master = planes(2, 5, 0.7)
  const gain = Float64Array.from({ length: FRAMES }, (_, n) => 0.5 + n / 100000)
  const gained = master.map((plane) => plane.map((sample, n) => sample * gain[n]!))

  test('24-bit words of master x gain leave the noise of rounding, 1/sqrt(12) steps: -149.3 dBFS', () => {
    const stereo = sourceOf(gained, '2.0', 48000, 'int24')
    for (const encoding of ['float64', 'float32'] as const) {
      const found = compareWithMaster(
        kernels,
        stereo,
        sourceOf(master, '2.0', 48000, encoding),
        segment(0, FRAMES),
        gain,
      )
      expect(found.largestDifferenceLsb).toBeLessThanOrEqual(encoding === 'float64' ? 0.5000001 : 1)
      expect(masterNullDbfs([found])).toBeCloseTo(20 * Math.log10(2 ** -23 / Math.sqrt(12)), 0)
    }
  })

  test('sums of pieces give what the whole gives, and a wrong gain shows', () => {
    const [stereo, source] = [sourceOf(gained, '2.0', 48000, 'int16'), sourceOf(master, '2.0', 48000, 'int24')]
    const all = compareWithMaster(kernels, stereo, source, segment(0, FRAMES), gain)
    const pieces = [
      compareWithMaster(kernels, stereo, source, segment(0, 8191), gain),
      compareWithMaster(kernels, stereo, source, segment(8191, FRAMES - 8191), gain.slice(8191)),
    ]
    expect(masterNullDbfs(pieces)).toBeCloseTo(masterNullDbfs([all]) as number, 9)
    expect(Math.max(...pieces.map((piece) => piece.largestDifferenceLsb))).toBe(all.largestDifferenceLsb)
    const wrong = compareWithMaster(
      kernels,
      stereo,
      source,
      segment(0, FRAMES),
      gain.map((value) => value * 1.001),
    )
    expect(wrong.largestDifferenceLsb).toBeGreaterThan(10)
  })

  test('nothing left is no figure', () => {
    const source = sourceOf(master, '2.0', 48000, 'int16')
    const found = compareWithMaster(kernels, source, source, segment(0, FRAMES), new Float64Array(FRAMES).fill(1))
    expect(found).toEqual({ sampleCount: 2 * FRAMES, squaredDifference: 0, largestDifferenceLsb: 0 })
    expect(masterNullDbfs([found])).toBeNull()
  })
})
