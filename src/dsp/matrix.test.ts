import { describe, expect, it } from 'vitest'
import { loadKernels } from '../../test/testkit/kernels.ts'
import { differenceDb, levelDb, noise, programme, type Stereo, stereo, upmix } from '../../test/testkit/mixes.ts'
import { decodeByEquation } from './matrix.reference.ts'
import { deriveMatrixFronts } from './matrix-fronts.ts'
import { matrixGeometry } from './matrix-geometry.ts'
import { takeWordLine } from './words.ts'

const K = Math.SQRT1_2
const RATE = 48000
const LT_RT = { kind: 'lt-rt' } as const

/** A programme with noise in its surround: at equal level and in opposite polarity on both tracks. */
function encoded(frameCount: number, rate: number): Stereo {
  const { left, right } = programme(frameCount, rate)
  const surround = noise(9)
  return stereo(frameCount, (i) => {
    const s = 0.1 * surround() * Math.max(0, Math.sin((2 * Math.PI * 3 * i) / rate))
    return [(left[i] as number) - K * s, (right[i] as number) + K * s]
  })
}

type Five = ReturnType<typeof upmix>

/** Lt and Rt by ATSC A/52 section 7.8.2 (from memory), the turn of the surrounds left out: they keep the one they came with. */
function encodedAgain({ left, right, centre, leftSurround: ls, rightSurround: rs }: Five): Stereo {
  return stereo(left.length, (i) => {
    const [c, s] = [K * (centre[i] as number), K * ((ls[i] as number) + (rs[i] as number))]
    return [(left[i] as number) + c - s, (right[i] as number) + c + s]
  })
}

describe('kernel against its equations', () => {
  // Tolerance: -110 dBFS at the worst sample; float32 weights and transforms against double precision.
  const cases = [
    { name: 'defaults', rate: 48000, share: 1 },
    { name: 'at 44.1 kHz', rate: 44100, share: 1 },
    { name: 'at 32 kHz', rate: 32000, share: 1 },
    { name: 'at 96 kHz', rate: 96000, share: 1 },
    { name: 'half a centre', rate: 48000, share: 1, settings: { centreShare: 0.5 } },
    { name: 'more surround', rate: 48000, share: 1.3, settings: { ambienceShare: 1.3 } },
    { name: 'surround balance', rate: 48000, share: Math.SQRT1_2, settings: { surroundBalance: -1 } },
  ]
  it.each(cases)('$name', ({ rate, share, settings }) => {
    const tracks = encoded(0.55 * rate, rate)
    const expected = decodeByEquation(matrixGeometry(rate), tracks, settings?.centreShare ?? 1, share)
    const actual = upmix(tracks, { ...LT_RT, ...settings }, rate)
    for (const name of ['centre', 'leftSurround', 'rightSurround'] as const) {
      expect(levelDb(actual[name])).toBeGreaterThan(-60)
      expect(differenceDb(actual[name], expected[name])).toBeLessThan(-110)
    }
  })
})

describe('sides of the surround', () => {
  const surround = noise(31)
  // The side-weighted law, sqrt(2/3) and sqrt(1/3) (from memory), of a source in Ls alone; the turn of phase is left out.
  const [near, far] = [Math.sqrt(2 / 3), Math.sqrt(1 / 3)]
  const inLs = stereo(RATE, () => {
    const s = 0.1 * surround()
    return [-near * s, far * s]
  })
  const swapped: Stereo = { left: inLs.right, right: inLs.left }

  it('a side-weighted surround comes out on its side', () => {
    const [left, right] = [upmix(inLs, LT_RT), upmix(swapped, LT_RT)]
    expect(levelDb(left.leftSurround) - levelDb(left.rightSurround)).toBeGreaterThan(20)
    expect(levelDb(right.rightSurround) - levelDb(right.leftSurround)).toBeGreaterThan(20)
  })

  it('without sides both surrounds are the same', () => {
    const out = upmix(
      stereo(RATE, (i) => [-(inLs.right[i] as number), inLs.right[i] as number]),
      LT_RT,
    )
    expect(differenceDb(out.leftSurround, out.rightSurround)).toBeLessThan(-120)
    expect(levelDb(out.leftSurround)).toBeGreaterThan(-40)
  })
})

describe('re-encode lock', () => {
  const tracks = encoded(26400, RATE)
  // -300 dBFS: rounding of double precision (2^-53 is -319 dB).
  it.each([
    {},
    { centreShare: 0.3, centreLowCutHz: 200 },
    { ambienceShare: 1.41, surroundBalance: 1 },
    { surroundHighCutHz: 7000 },
    { surroundDelayMs: 20, surroundSpread: 'velvet', surroundLowCutHz: 400, frontSpread: 1.5 },
  ] as const)('encoding the five again gives the Lt/Rt with %o', (settings) => {
    const again = encodedAgain(upmix(tracks, { ...LT_RT, ...settings }))
    expect(differenceDb(again.left, tracks.left)).toBeLessThan(-300)
    expect(differenceDb(again.right, tracks.right)).toBeLessThan(-300)
  })

  it('holds, with finite channels that gain no energy, whatever the tracks are', () => {
    const square = (i: number) => (i % 96 < 48 ? 1 : -1)
    const cases: Record<string, Stereo> = {
      silence: stereo(9000, () => [0, 0]),
      'one frame': stereo(1, () => [0.5, -0.25]),
      click: stereo(9000, (i) => (i === 4000 ? [1, 0] : [0, 0])),
      'dc on one side': stereo(9000, () => [0.7, 0]),
      'opposite polarity': stereo(9000, (i) => [Math.sin(i / 9), -Math.sin(i / 9)]),
      'full-scale square': stereo(9000, (i) => [square(i), square(i)]),
      'in quadrature': stereo(9000, (i) => [Math.sin(i / 9), Math.cos(i / 9)]),
    }
    for (const [name, each] of Object.entries(cases)) {
      const out = upmix(each, LT_RT)
      const again = encodedAgain(out)
      const worst = Math.max(differenceDb(again.left, each.left), differenceDb(again.right, each.right))
      expect(worst, name).toBeLessThan(-300)
      const energy = (x: ArrayLike<number>) => Array.from(x).reduce((sum, sample) => sum + sample * sample, 0)
      const surround = out.leftSurround.map((ls, i) => ls + (out.rightSurround[i] as number))
      const made = energy(out.left) + energy(out.right) + energy(out.centre) + energy(surround)
      // An edge of the programme is a step, which the windows spread: 0.2 dB at most.
      expect(made, name).toBeLessThanOrEqual(1.05 * (energy(each.left) + energy(each.right)))
    }
  })
})

describe('the law in whole words', () => {
  const kernels = loadKernels(4 * 1024 * 1024)

  function derived(lines: readonly number[][], encoding: 'int16' | 'int24') {
    const mark = kernels.arena.mark()
    const count = lines[0]!.length
    const views = Array.from({ length: 7 }, (_, n) => {
      const view = new Int32Array(kernels.memory.buffer, takeWordLine(kernels), count)
      view.set(lines[n] ?? [])
      return view
    })
    const [lt, rt, c, ls, rs, l, r] = views.map(({ byteOffset }) => byteOffset) as number[] & { length: 7 }
    const of = { stereo: [lt, rt], centre: c, surrounds: [ls, rs], fronts: [l, r] } as const
    const counts = deriveMatrixFronts(kernels, of, count, encoding)
    const words = views.map((view) => Array.from(view))
    kernels.arena.release(mark)
    return { ...counts, words }
  }

  const again = (front: number[], c: number[], ls: number[], rs: number[], sign: 1 | -1) =>
    front.map((x, i) => Math.floor(x + K * (c[i]! + sign * (ls[i]! + rs[i]!)) + 0.5))

  it.each([
    ['int24', 8388608],
    ['int16', 32768],
  ] as const)('%s: encoding the five words again gives the words of the Lt/Rt, every one', (encoding, steps) => {
    const lines = [21, 22, 23, 24, 25].map((seed) => {
      const random = noise(seed)
      return Array.from({ length: 4096 }, () => Math.floor(0.25 * steps * random()))
    })
    const { words, overs } = derived(lines, encoding)
    const [lt, rt, c, ls, rs, l, r] = words as number[][] & { length: 7 }
    expect(overs).toBe(0)
    expect([lt, rt, c]).toEqual(lines.slice(0, 3))
    expect(again(l, c, ls, rs, -1)).toEqual(lt)
    expect(again(r, c, ls, rs, 1)).toEqual(rt)
  })

  it('a surround moves by one step where a front lies on a tie, and the law holds there too', () => {
    // k x 6625109 lies 2.7e-8 from a half: the closest multiple of k below 2^23.
    const lines = [
      [5, 5],
      [7, 7],
      [6625109 - 100, 100],
      [-60, -100],
      [-40, 6625109],
    ]
    const { words, nearTies } = derived(lines, 'int24')
    const [lt, rt, c, ls, rs, l, r] = words as number[][] & { length: 7 }
    expect(nearTies).toBeGreaterThanOrEqual(1)
    expect(rs).not.toEqual(lines[4])
    expect(again(l, c, ls, rs, -1)).toEqual(lt)
    expect(again(r, c, ls, rs, 1)).toEqual(rt)
  })

  it('a front that does not fit is held at the end of the word and counted', () => {
    const { words, overs } = derived([[32000], [-32000], [-20000], [0], [0]], 'int16')
    expect([words[5], overs]).toEqual([[32767], 1])
  })
})
