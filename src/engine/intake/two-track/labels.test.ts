import { describe, expect, it } from 'vitest'
import { inKernelMemory, loadKernels } from '../../../../test/testkit/kernels.ts'
import { readLabels } from './labels.ts'
import { describeRun, placeRuns } from './timecode.ts'

// Outside authority: the code is written here as SMPTE ST 12-1 lays it out (80 bits a label, BCD with the lowest bit
// first, sync word 0011 1111 1111 1101, biphase mark), independently of the reader; layout from memory of the standard.
const FIELDS = [
  [0, 4, 3, 1],
  [8, 2, 3, 10],
  [16, 4, 2, 1],
  [24, 3, 2, 10],
  [32, 4, 1, 1],
  [40, 3, 1, 10],
  [48, 4, 0, 1],
  [56, 2, 0, 10],
] as const

function bitsOf(label: readonly number[], isDrop: boolean): number[] {
  const bits = new Array<number>(80).fill(0)
  for (const [at, width, field, unit] of FIELDS) {
    const digit = Math.floor(label[field]! / unit) % 10
    for (let bit = 0; bit < width; bit++) bits[at + bit] = (digit >> bit) & 1
  }
  if (isDrop) bits[10] = 1
  return [...bits.slice(0, 64), ...'0011111111111101'].map(Number)
}

/** A track that begins `lead` bits before the first label; `speed` stretches time. */
function codeTrack(labels: readonly (readonly number[])[], rate: number, fps: number, isDrop = false, speed = 1) {
  // One more bit behind the last label: a bit is known when the next one begins.
  const bits = [...bitsOf([0, 0, 0, 0], isDrop).slice(-20), ...labels.flatMap((label) => bitsOf(label, isDrop)), 0, 0]
  const bitFrames = rate / fps / 80 / speed
  const flips = bits.flatMap((bit, index) => (bit === 1 ? [index, index + 0.5] : [index])).map((at) => at * bitFrames)
  const track = new Float32Array(Math.ceil((bits.length + 1) * bitFrames))
  let next = 0
  let level = -0.3
  for (let frame = 0; frame < track.length; frame++) {
    // A change between two samples is drawn as the slope through it.
    const flip = flips[next]
    if (flip !== undefined && flip <= frame) {
      const share = frame - flip
      track[frame] = level + Math.min(1, share) * -2 * level
      level = -level
      next += 1
    } else track[frame] = level
  }
  return track
}

const counting = (count: number, base: number, from = 0) =>
  Array.from({ length: count }, (_, index) => {
    const frame = from + index
    return [10, 59, 58 + Math.floor(frame / base), frame % base]
  })

const kernels = loadKernels(16 * 1024 * 1024)

/** The labels that begin from `begin` on. */
function labelsOf(track: Float32Array, sampleRateHz: number, side: 0 | 1 = 0, begin = 0) {
  const mark = kernels.arena.mark()
  const labels = readLabels(kernels, inKernelMemory(kernels, track), begin, track.length, sampleRateHz, side)
  kernels.arena.release(mark)
  return labels
}

describe('readLabels', () => {
  it.each([
    ['23.976', 24000 / 1001, 24, 48000],
    ['24', 24, 24, 48000],
    ['25', 25, 25, 44100],
    ['29.97', 30000 / 1001, 30, 48000],
    ['30', 30, 30, 96000],
  ])('reads every label of a track at %s, and the rate', (name, fps, base, rate) => {
    const labels = counting(40, base)
    const track = codeTrack(labels, rate, fps)
    const found = placeRuns(labelsOf(track, rate, 1), rate).map(describeRun)
    expect(found).toHaveLength(1)
    expect(found[0]).toMatchObject({ side: 'right', rate: name, firstLabel: '10:59:58:00', labelCount: 40 })
    expect(found[0]!.measuredRate).toBeCloseTo(fps, 2)
    expect(Math.abs(found[0]!.firstLabelFrame - (20 * rate) / fps / 80)).toBeLessThan(2)
  })

  it('tells drop-frame by its flag', () => {
    const track = codeTrack(counting(10, 30), 48000, 30000 / 1001, true)
    const [run] = placeRuns(labelsOf(track, 48000), 48000)
    expect(describeRun(run!)).toMatchObject({ side: 'left', rate: '29.97 drop', firstLabel: '10:59:58;00' })
  })

  it.each([0.8, 1.25])('follows a machine that runs at %f of its speed', (speed) => {
    const track = codeTrack(counting(12, 25), 48000, 25, false, speed)
    const [run] = labelsOf(track, 48000)
    expect(run).toMatchObject({ count: 12, first: [10, 59, 58, 0] })
  })

  it('starts a new run where the labels jump, and gives only labels that begin inside', () => {
    const track = codeTrack([...counting(8, 25), ...counting(8, 25, 20)], 48000, 25)
    expect(labelsOf(track, 48000).map(({ count }) => count)).toEqual([8, 8])
    const [inside] = labelsOf(track, 48000, 0, 1920)
    expect(inside!.first).toEqual([10, 59, 58, 1])
  })

  it('finds nothing in noise, a square wave of the same pitch, or silence', () => {
    let state = 1
    const noise = Float32Array.from({ length: 96000 }, () => {
      state = (Math.imul(state, 1664525) + 1013904223) | 0
      return state / 0x80000000
    })
    const square = Float32Array.from({ length: 96000 }, (_, frame) => (Math.floor(frame / 24) % 2 === 0 ? 0.5 : -0.5))
    for (const track of [noise, square, new Float32Array(96000)]) expect(labelsOf(track, 48000)).toEqual([])
  })
})
