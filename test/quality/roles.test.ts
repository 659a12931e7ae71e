// Outside authority: what each channel carries is known because the test mixed it; the orders are those of WAVE and
// ITU-R BS.775, of film printmasters (common practice) and of AAC (ISO/IEC 14496-3). Music and voices of this file were
// not used to choose the thresholds.
import { beforeAll, describe, expect, test } from 'vitest'
import type { Roles, SpeechLane } from '../../src/domain/index.ts'
import { rolesDetector } from '../../src/engine/intake/roles/index.ts'
import { inspectWith, programmeOf } from '../testkit/inspected.ts'
import { upmix } from '../testkit/mixes.ts'
import { delayed, gained, lowEnd, musicFrom, type Planes, sum, throughSox, voices } from '../testkit/surround-mixes.ts'

const SECONDS = 52
const RATE = 48000
const [L, R, C, LFE, LS, RS] = [0, 1, 2, 3, 4, 5] as const

let music: Planes
let bed: Planes
let speech: Float32Array
/** Mixed for 5.1: reverb of the music in the surrounds; another bed in the surrounds that leaks from the music. */
const mixes = new Map<string, Planes>()

beforeAll(() => {
  music = musicFrom('Through Space', 30, SECONDS)
  bed = musicFrom('By-Product', 60, SECONDS)
  speech = voices('conf-', SECONDS)
  const lfe = lowEnd(music)
  const room = throughSox(music, 'reverb', '-w', '60')
  mixes.set('reverb', [...music, gained(speech, 1.2), lfe, ...room.map((plane) => gained(plane, 0.7))])
  const surrounds = music.map((plane, side) => sum(gained(plane, 0.15), gained(bed[side]!, 0.4)))
  mixes.set('bed', [...music, sum(gained(speech, 1.2), gained(music[0]!, 0.1)), lfe, ...surrounds])
})

const inspect = (planes: Planes, speechLane: SpeechLane | null = null): Roles =>
  inspectWith(rolesDetector, programmeOf(planes, '5.1'), speechLane)
const inOrder = (planes: Planes, order: readonly number[]) => order.map((channel) => planes[channel]!)
const replaced = (planes: Planes, channel: number, by: (plane: Float32Array) => Float32Array) =>
  planes.map((plane, index) => (index === channel ? by(plane) : plane))
const product = (a: Float32Array, b: Float32Array) => a.reduce((total, sample, n) => total + sample * b[n]!, 0)
const rmsOf = (plane: Float32Array) => Math.sqrt(product(plane, plane) / plane.length)
const correlation = (a: Float32Array, b: Float32Array) => product(a, b) / Math.sqrt(product(a, a) * product(b, b))
const kinds = ({ faults }: Roles) => faults.map(({ kind }) => kind)

describe.each(['reverb', 'bed'])('a 5.1 with %s in the surrounds', (name) => {
  const mix = () => mixes.get(name)!

  test('is what it says', () => {
    const roles = inspect(mix())
    expect(roles).toMatchObject({ order: null, faults: [], stereoOrigin: null })
    expect(roles.evidence.join(' ')).toMatch(/LFE has -\d+ dB of its energy above 250 Hz, as it should/)
  })

  // What stands where L R C LFE Ls Rs are looked for.
  test.each([
    ['film', [L, C, R, LS, RS, LFE]],
    ['aac', [C, L, R, LS, RS, LFE]],
  ] as const)('in %s order read as ITU', (order, lies) => {
    const roles = inspect(inOrder(mix(), lies))
    expect(roles.order).toBe(order)
    expect(kinds(roles)).toContain('wrong-order')
    expect(roles.faults[0]!.remedy).toContain(`--order ${order}`)
  })

  test('in ITU order read as film', () => {
    expect(inspect(inOrder(mix(), [L, C, R, RS, LFE, LS])).order).toBe('itu')
  })

  test('one channel lost, one copied, one copied and inverted', () => {
    expect(inspect(replaced(mix(), RS, (plane) => plane.map(() => 0))).faults).toMatchObject([
      { kind: 'silent', channels: ['Rs'] },
    ])
    expect(inspect(inOrder(mix(), [L, R, C, LFE, L, RS])).faults).toContainEqual(
      expect.objectContaining({ kind: 'duplicate', channels: ['L', 'Ls'] }),
    )
    const turned = replaced(inOrder(mix(), [L, R, C, LFE, LS, LS]), RS, (plane) => gained(plane, -0.5))
    expect(kinds(inspect(turned))).toEqual(['inverted-duplicate'])
  })

  test('the full range in the LFE', () => {
    const roles = inspect(replaced(mix(), LFE, () => gained(bed[0]!, 0.5)))
    expect(kinds(roles)).toEqual(['full-range-lfe'])
  })

  test('C and LFE swapped', () => {
    expect(inspect(inOrder(mix(), [L, R, LFE, C, LS, RS])).faults).toMatchObject([
      { kind: 'full-range-lfe', channels: ['LFE', 'C'], remedy: 'Check whether LFE and C are swapped.' },
    ])
  })

  test('one front inverted', () => {
    expect(inspect(replaced(mix(), R, (plane) => gained(plane, -1))).faults).toMatchObject([
      { kind: 'inverted-pair', channels: ['L', 'R'] },
    ])
  })

  // Widened by its sides until the fronts cancel: what is made of both stays in phase with both (common practice).
  test('fronts that cancel by themselves are no inverted pair, but one of them inverted is', () => {
    const [left, right] = music as readonly [Float32Array, Float32Array]
    const middle = gained(sum(left, right), 0.5)
    const side = gained(sum(left, gained(right, -1)), 0.5)
    const wider = gained(side, 1.5 * (rmsOf(middle) / rmsOf(side)))
    const wide = [sum(middle, wider), sum(middle, gained(wider, -1))] as const
    expect(correlation(...wide)).toBeLessThan(-0.35)
    const centre = sum(mix()[C]!, gained(middle, 0.3))
    const opposed = [...wide, centre, lowEnd(wide), mix()[LS]!, mix()[RS]!]
    expect(kinds(inspect(opposed))).toEqual([])
    // The same correlation, because one of two like fronts was turned round.
    const near = gained(side, (2 / 3) * (rmsOf(middle) / rmsOf(side)))
    const like = [sum(middle, near), sum(middle, gained(near, -1))] as const
    const turned = [like[0], gained(like[1], -1), centre, lowEnd(like), mix()[LS]!, mix()[RS]!]
    expect(correlation(like[0], turned[1]!)).toBeCloseTo(correlation(...wide), 2)
    expect(kinds(inspect(turned))).toEqual(['inverted-pair'])
  })

  test('dialogue in L, as a speech lane tells', () => {
    const hop = RATE / 10
    const isSpeech100ms = Uint8Array.from({ length: SECONDS * 10 }, (_, index) =>
      speech.subarray(index * hop, (index + 1) * hop).some((sample) => Math.abs(sample) > 0.02) ? 1 : 0,
    )
    const lane = { isSpeech100ms, probability100ms: isSpeech100ms.map((is) => 255 * is), modelSha256: '' }
    expect(kinds(inspect(mix(), lane))).toEqual([])
    expect(inspect(inOrder(mix(), [C, R, L, LFE, LS, RS]), lane).faults).toMatchObject([
      { kind: 'dialogue-elsewhere', channels: ['L', 'C'] },
    ])
  })

  test('dialogue in L, where nobody heard speech in C', () => {
    expect(inspect(inOrder(mix(), [C, R, L, LFE, LS, RS])).faults).toMatchObject([
      { kind: 'dialogue-elsewhere', channels: ['L', 'C'] },
    ])
  })
})

test('surrounds swapped, where they hold something of the fronts', () => {
  expect(kinds(inspect(inOrder(mixes.get('bed')!, [L, R, C, LFE, RS, LS])))).toEqual(['swapped-sides'])
})

test('loud places behind, one of them also in C, are no fronts', () => {
  const [l, r, c, lfe] = mixes.get('reverb')! as Float32Array[]
  const behind = bed.map((plane) => gained(plane, 1.6))
  const surrounds = [behind[0]!, delayed(behind[1]!, 700)]
  const centre = sum(c!, gained(behind[0]!, 0.3))
  expect(kinds(inspect([l!, r!, centre, lfe!, ...surrounds]))).toEqual([])
})

describe('a 5.1 made from two tracks', () => {
  const tracks = () => music.map((plane) => sum(plane, gained(speech, 0.7)))

  test('by delay, filter and sum: which channel, how late, how loud', () => {
    const two = tracks()
    const dull = throughSox(two, 'lowpass', '-1', '7000').map((plane) => gained(delayed(plane, 17), 0.4))
    const { stereoOrigin, faults } = inspect([...two, gained(sum(two[0]!, two[1]!), 0.5), lowEnd(two), ...dull])
    expect(faults).toEqual([])
    expect(stereoOrigin!.confidence).toBeGreaterThan(0.9)
    const [centre, left, right] = stereoOrigin!.derived
    expect(centre!.share).toBeGreaterThan(0.97)
    for (const surround of [left!, right!]) {
      expect(surround.lagMs).toBeCloseTo(17, 0)
      expect(surround.gainDb).toBeLessThan(-7)
    }
  })

  test('by a passive matrix: the difference in both surrounds', () => {
    const two = tracks()
    const difference = gained(delayed(sum(two[0]!, gained(two[1]!, -1)), 20), 0.5)
    const roles = inspect([...two, gained(sum(two[0]!, two[1]!), 0.7), lowEnd(two), difference, difference])
    expect(roles.stereoOrigin!.confidence).toBeGreaterThan(0.8)
    expect(roles.faults).toMatchObject([{ kind: 'duplicate', channels: ['Ls', 'Rs'] }])
  })

  test('by weights that change (our own upmix), with less confidence', () => {
    const two = tracks().map((plane) => Float64Array.from(plane.subarray(0, 30 * RATE)))
    const made = upmix({ left: two[0]!, right: two[1]! })
    const silence = new Float32Array(30 * RATE)
    const mains = [made.left, made.right, made.centre, silence, made.leftSurround, made.rightSurround]
    const { stereoOrigin, faults } = inspect(mains.map((plane) => Float32Array.from(plane)))
    // Its fronts cancel a little, because C took what they had in common: nobody turned one of them round.
    expect(faults).toEqual([])
    expect(stereoOrigin!.confidence).toBeGreaterThanOrEqual(0.5)
  })
})

test.each(['5.0', '7.1'] as const)('%s without fault', (layout) => {
  const [l, r, c, lfe, ls, rs] = mixes.get('bed')! as Float32Array[]
  const rear = throughSox([ls!, rs!], 'reverb', '-w', '40')
  const planes = layout === '5.0' ? [l!, r!, c!, ls!, rs!] : [l!, r!, c!, lfe!, ls!, rs!, ...rear]
  expect(inspectWith(rolesDetector, programmeOf(planes, layout))).toMatchObject({ order: null, faults: [] })
})

test('silence says nothing', () => {
  const roles = inspect(Array.from({ length: 6 }, () => new Float32Array(RATE)))
  expect(roles).toMatchObject({ order: null, faults: [], stereoOrigin: null })
})
