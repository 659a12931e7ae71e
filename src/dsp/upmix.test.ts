import { describe, expect, it } from 'vitest'
import { differenceDb, levelDb, noise, programme, type Stereo, stereo, upmix } from '../../test/testkit/mixes.ts'
import { defaultSettings, UPMIX_PARAMETERS, type UpmixSettings } from '../domain/index.ts'
import { extractByEquation } from './upmix.reference.ts'
import { upmixGeometry } from './upmix-geometry.ts'

const DEFAULTS = defaultSettings(UPMIX_PARAMETERS)
const K = Math.SQRT1_2
const TIME_BRANCH_OFF = { surroundLowCutHz: 20 } as const

describe('kernel against its equations', () => {
  // Tolerance: -110 dBFS at the worst sample; float32 weights and transforms against double precision.
  const cases: readonly { name: string; settings?: Partial<UpmixSettings>; rate?: number }[] = [
    { name: 'defaults' },
    { name: 'defaults at 44.1 kHz', rate: 44100 },
    { name: 'defaults at 32 kHz', rate: 32000 },
    { name: 'defaults at 96 kHz', rate: 96000 },
    { name: 'half a centre', settings: { centreShare: 0.5 } },
    { name: 'narrow reach', settings: { centreReach: 0.25 } },
    { name: 'widest reach but one', settings: { centreReach: 0.99 } },
    { name: 'no diffuse rejection', settings: { centreDiffuseReject: 0 } },
    { name: 'full diffuse rejection', settings: { centreDiffuseReject: 1 } },
    { name: 'no speech rejection', settings: { surroundSpeechReject: 0 } },
    { name: 'most ambience', settings: { ambienceShare: 1.41, surroundBalance: 1 } },
    { name: 'least ambience', settings: { ambienceShare: 0.3, surroundBalance: -1 } },
    { name: 'open gate', settings: { ambienceStrictness: 0 } },
    { name: 'odd gate', settings: { ambienceStrictness: 0.37 } },
    { name: 'strict gate', settings: { ambienceStrictness: 1.5 } },
    { name: 'diffuse mask', settings: { directRejection: 0 } },
    { name: 'null-steered', settings: { directRejection: 1 } },
    { name: 'quadrature', settings: { surroundSpread: 'quadrature' } },
  ]
  it.each(cases)('$name', ({ settings, rate = 48000 }) => {
    const tracks = programme(0.55 * rate, rate)
    const all = { ...DEFAULTS, ...TIME_BRANCH_OFF, ...settings }
    const expected = extractByEquation(upmixGeometry(rate), all, tracks)
    const actual = upmix(tracks, all, rate)
    expect(differenceDb(actual.centre, expected.centre)).toBeLessThan(-110)
    expect(differenceDb(actual.leftSurround, expected.leftSurround)).toBeLessThan(-110)
    expect(differenceDb(actual.rightSurround, expected.rightSurround)).toBeLessThan(-110)
    expect(levelDb(expected.centre)).toBeGreaterThan(-40)
    expect(levelDb(expected.leftSurround)).toBeGreaterThan(-70)
  })

  it.each([
    { name: 'a voice that comes and goes', hops: [0, 20, 255, 90, 0, 60] },
    { name: 'no voice', hops: [0, 0, 0, 0, 0, 0] },
    { name: 'a voice that fills the centre', hops: [0, 20, 255, 90, 0, 60], settings: { centreSpeechFill: 0.6 } },
    { name: 'the same in a narrow reach', hops: [255, 255, 0], settings: { centreSpeechFill: 1, centreReach: 0.25 } },
    { name: 'a fill and no voice', hops: [0, 0, 0, 0, 0, 0], settings: { centreSpeechFill: 1 } },
  ])('heard: $name', ({ hops, settings }) => {
    const tracks = programme(26400, 48000)
    const all = { ...DEFAULTS, ...TIME_BRANCH_OFF, ...settings }
    const voice = (seconds: number) => {
      const at = 10 * seconds - 0.5
      const before = Math.floor(at)
      const [from = 0, to = 0] = [hops[before], hops[before + 1]]
      return (from + (at - before) * (to - from)) / 255
    }
    const expected = extractByEquation(upmixGeometry(48000), all, tracks, tracks, voice)
    const reading = { found: 'plain-stereo', kind: 'stereo', delay: [], noiseFloor: null } as const
    const heard = { ...reading, voice100ms: hops }
    const actual = upmix(tracks, all, 48000, undefined, heard)
    expect(differenceDb(actual.leftSurround, expected.leftSurround)).toBeLessThan(-110)
    expect(differenceDb(actual.rightSurround, expected.rightSurround)).toBeLessThan(-110)
    const unheard = upmix(tracks, all)
    if (all.centreSpeechFill > 0 && Math.max(...hops) > 0) {
      expect(differenceDb(actual.centre, expected.centre)).toBeLessThan(-110)
      expect(differenceDb(actual.centre, unheard.centre)).toBeGreaterThan(-60)
    } else {
      expect(actual.centre).toEqual(unheard.centre)
    }
    expect(differenceDb(actual.leftSurround, unheard.leftSurround)).toBeGreaterThan(-80)
  })

  it('a stem through the weights of the mix', () => {
    const tracks = programme(26400, 48000)
    const bed = noise(9)
    const stem = stereo(26400, () => [0.1 * bed(), 0.1 * bed()])
    const all = { ...DEFAULTS, ...TIME_BRANCH_OFF }
    const expected = extractByEquation(upmixGeometry(48000), all, tracks, stem)
    const actual = upmix(tracks, all, 48000, stem)
    expect(differenceDb(actual.centre, expected.centre)).toBeLessThan(-110)
    expect(differenceDb(actual.leftSurround, expected.leftSurround)).toBeLessThan(-110)
  })
})

/** Lo and Ro by ITU-R BS.775-4 Table 2, in double precision, against the two tracks: mean square of the worse side. */
function foldDownErrorDb(tracks: Stereo, out: ReturnType<typeof upmix>): number {
  const lo = out.left.map((l, i) => l + K * out.centre[i]! + K * out.leftSurround[i]! - tracks.left[i]!)
  const ro = out.right.map((r, i) => r + K * out.centre[i]! + K * out.rightSurround[i]! - tracks.right[i]!)
  return Math.max(levelDb(lo), levelDb(ro))
}

describe('sources whose place is known', () => {
  const tone = noise(5)
  const mono = Float64Array.from({ length: 48000 }, () => 0.25 * tone())
  const zero = new Float64Array(48000)
  // Away from the programme's edges, where a transform sees half a signal.
  const inner = [9600, 38400] as const

  it('dual mono goes to the centre at its power', () => {
    // The power of two equal channels is that of one at k (l + r) (arithmetic); -69 dB is the 1e-3 leak of the weights.
    const out = upmix({ left: mono, right: mono })
    expect(levelDb(out.centre, ...inner) - (levelDb(mono, ...inner) + 3.0103)).toBeCloseTo(0, 2)
    expect(levelDb(out.left, ...inner) - levelDb(mono, ...inner)).toBeLessThan(-60)
    expect(levelDb(out.leftSurround)).toBeLessThan(-140)
    expect(levelDb(out.rightSurround)).toBeLessThan(-140)
  })

  it('anti-phase stays in the fronts', () => {
    const out = upmix({ left: mono, right: mono.map((x) => -x) })
    expect(levelDb(out.centre)).toBeLessThan(-140)
    expect(levelDb(out.leftSurround)).toBeLessThan(-140)
    expect(differenceDb(out.left, mono)).toBeLessThan(-140)
  })

  it('one side alone stays there, to the bit', () => {
    const left = upmix({ left: mono, right: zero })
    expect(left.left).toEqual(mono)
    for (const plane of [left.right, left.centre, left.leftSurround, left.rightSurround]) {
      expect(plane.every((x) => x === 0)).toBe(true)
    }
    const right = upmix({ left: zero, right: mono })
    expect(right.right).toEqual(mono)
    expect(right.left.every((x) => x === 0)).toBe(true)
  })

  it('a source between left and centre leaves the right front', () => {
    // Pairwise panning (common practice): right = 0.4 left means C = 0.4 / k of the source and L = 0.6 of it.
    const out = upmix({ left: mono, right: mono.map((x) => 0.4 * x) })
    const input = levelDb(mono, ...inner)
    expect(levelDb(out.right, ...inner) - input).toBeLessThan(-60)
    expect(levelDb(out.left, ...inner) - input).toBeCloseTo(20 * Math.log10(0.6), 1)
    expect(levelDb(out.centre, ...inner) - input).toBeCloseTo(20 * Math.log10(0.4 / K), 1)
  })

  it('noise without relation goes to the surrounds, not to the centre', () => {
    const [l, r] = [noise(6), noise(7)]
    const tracks = stereo(48000, () => [0.2 * l(), 0.2 * r()])
    const out = upmix(tracks)
    const input = levelDb(tracks.left, ...inner)
    expect(levelDb(out.leftSurround, ...inner) - input).toBeGreaterThan(-3)
    expect(levelDb(out.centre, ...inner) - input - 3.01).toBeLessThan(-12)
  })
})

describe('what the surrounds share', () => {
  // Two noises with a common part correlate by common / (common + own); the inverse square root of a covariance leaves
  // signals that do not correlate (linear algebra). Short averages of the weights leave 0.06 of either sign.
  it.each([0.25, 0.5, 0.75])('noises that correlate by %d come out without a common or an opposed part', (share) => {
    const [l, r, c] = [noise(21), noise(22), noise(23)]
    const [own, common] = [0.2 * Math.sqrt(1 - share), 0.2 * Math.sqrt(share)]
    const tracks = stereo(96000, () => {
      const x = common * c()
      return [own * l() + x, own * r() + x]
    })
    expect(coherence(Float32Array.from(tracks.left), Float32Array.from(tracks.right))).toBeCloseTo(share, 1)
    const surrounds = (directRejection?: number) => {
      const out = upmix(tracks, {
        surroundSpeechReject: 0,
        ...(directRejection === undefined ? {} : { directRejection }),
      })
      expect(levelDb(out.leftSurround)).toBeGreaterThan(-60)
      return coherence(out.leftSurround, out.rightSurround)
    }
    expect(Math.abs(surrounds(1))).toBeLessThan(0.06)
    expect(surrounds()).toBeGreaterThan(-0.03)
    expect(surrounds()).toBeLessThan(share / 2)
  })
})

describe('hard inputs', () => {
  const cases: Record<string, Stereo> = {
    'no frame': stereo(0, () => [0, 0]),
    'one frame': stereo(1, () => [1, 1]),
    silence: stereo(20000, () => [0, 0]),
    'full-scale square': stereo(20000, (i) => (i % 100 < 50 ? [1, 1] : [-1, -1])),
    'full-scale square, sides opposed': stereo(20000, (i) => (i % 100 < 50 ? [1, -1] : [-1, 1])),
    'direct current': stereo(20000, () => [1, 1]),
    'one impulse': stereo(20000, (i) => (i === 9000 ? [1, 0] : [0, 0])),
    'far over full scale': stereo(20000, (i) => [60000 * Math.sin(i), 60000 * Math.cos(i)]),
    'below every word': stereo(20000, (i) => [1e-12 * Math.sin(i), 1e-12 * Math.cos(i)]),
    subnormal: stereo(20000, () => [1e-310, -1e-310]),
  }
  it.each(Object.entries(cases))('%s gives finite samples and keeps the fold-down', (_name, tracks) => {
    const out = upmix(tracks, { surroundHighCutHz: 7000, surroundSpread: 'velvet', lfeGainDb: -10 })
    for (const plane of [out.left, out.right, out.centre, out.leftSurround, out.rightSurround, out.lfe!]) {
      expect(plane).toHaveLength(tracks.left.length)
      expect(plane.every((x) => Number.isFinite(x))).toBe(true)
    }
    const loudest = tracks.left.reduce((peak, x) => Math.max(peak, Math.abs(x)), 0)
    if (loudest > 0) expect(foldDownErrorDb(tracks, out) - 20 * Math.log10(loudest)).toBeLessThan(-300)
  })

  it('a long silence leaves no trace in what follows', () => {
    const voice = noise(8)
    const loud = stereo(250000, (i) => {
      const x = 0.5 * voice()
      return i < 50000 || i > 200000 ? [x, 0.8 * x] : [0, 0]
    })
    const out = upmix(loud)
    for (const plane of [out.centre, out.leftSurround, out.left]) {
      expect(plane.subarray(60000, 190000).every((x) => x === 0)).toBe(true)
    }
    expect(levelDb(out.centre, 210000, 240000)).toBeGreaterThan(-20)
  })
})

describe('fold-down lock', () => {
  const tracks = programme(26400, 48000)
  const settings: Partial<UpmixSettings>[] = [{}]
  for (const [name, row] of Object.entries(UPMIX_PARAMETERS)) {
    if (name === 'frontSpread') continue
    const values = row.kind === 'number' ? [row.min, (row.min + row.max) / 2, row.max] : row.choices
    // A decoded Lt/Rt has a lock of its own: matrix.test.ts.
    for (const value of values) if (value !== 'lt-rt') settings.push({ [name]: value })
  }
  it.each(settings)('Lo/Ro is the master with %o', (changed) => {
    // -300 dBFS: rounding of double precision (2^-53 is -319 dB).
    expect(foldDownErrorDb(tracks, upmix(tracks, changed))).toBeLessThan(-300)
  })

  it('a front spread opens it by the side that it adds', () => {
    const out = upmix(tracks, { frontSpread: 1.5 })
    const plain = upmix(tracks)
    const side = plain.left.map((l, i) => 0.25 * (l - plain.right[i]!))
    expect(foldDownErrorDb(tracks, out)).toBeCloseTo(levelDb(side), 2)
  })
})

describe('what happens to the surrounds in time', () => {
  const [l, r] = [noise(11), noise(12)]
  const tracks = stereo(48000, () => [0.2 * l(), 0.2 * r()])
  const plain = upmix(tracks, TIME_BRANCH_OFF)

  it('a delay shifts them by whole frames', () => {
    const out = upmix(tracks, { ...TIME_BRANCH_OFF, surroundDelayMs: 12 })
    expect(out.leftSurround.subarray(576)).toEqual(plain.leftSurround.subarray(0, 48000 - 576))
    expect(out.leftSurround.subarray(0, 576).every((x) => x === 0)).toBe(true)
    expect(out.centre).toEqual(plain.centre)
  })

  it.each(['velvet', 'quadrature'] as const)('%s keeps their power and unties them', (surroundSpread) => {
    const common = noise(13)
    const near = stereo(48000, () => {
      const x = 0.1 * common()
      return [0.2 * l() + x, 0.2 * r() - x]
    })
    const before = upmix(near, TIME_BRANCH_OFF)
    const after = upmix(near, { ...TIME_BRANCH_OFF, surroundSpread })
    expect(Math.abs(levelDb(after.leftSurround) - levelDb(before.leftSurround))).toBeLessThan(0.5)
    // +90 and -90 degrees lie 180 degrees apart: the pair keeps its likeness with the other sign, and leaves the fronts.
    const pair = (out: ReturnType<typeof upmix>) => coherence(out.leftSurround, out.rightSurround)
    const toTrack = (out: ReturnType<typeof upmix>) => coherence(out.leftSurround, Float32Array.from(near.left))
    if (surroundSpread === 'velvet') expect(Math.abs(pair(after))).toBeLessThan(0.5 * Math.abs(pair(before)))
    else expect(pair(after)).toBeCloseTo(-pair(before), 2)
    expect(toTrack(before)).toBeGreaterThan(0.9)
    expect(Math.abs(toTrack(after))).toBeLessThan(0.5)
  })

  it('quadrature turns by 90 degrees without delay', () => {
    // cos -> -sin for +90, +sin for -90 (definition of a phase lead and lag).
    const before = upmix(tracks, TIME_BRANCH_OFF)
    const after = upmix(tracks, { ...TIME_BRANCH_OFF, surroundSpread: 'quadrature' })
    expect(Math.abs(coherence(before.leftSurround, after.leftSurround))).toBeLessThan(0.02)
    expect(toneLag(before.leftSurround, after.leftSurround)).toBeCloseTo(90, 0)
    expect(toneLag(before.rightSurround, after.rightSurround)).toBeCloseTo(-90, 0)
  })

  it('the LFE carries the bass of both tracks, off by default', () => {
    const bass = stereo(96000, (i) => {
      const low = 0.25 * Math.sin((2 * Math.PI * 40 * i) / 48000)
      return [low, low]
    })
    expect(upmix(bass).lfe).toBeNull()
    const lfe = upmix(bass, { lfeGainDb: -10 }).lfe!
    // Linkwitz-Riley of fourth order: 1 / (1 + (f / corner)^4) (published formula); k (l + r) is 3.01 dB above a track.
    const expected = levelDb(bass.left, 24000, 72000) + 3.0103 - 10 - 20 * Math.log10(1 + 0.4 ** 4)
    expect(levelDb(lfe, 24000, 72000)).toBeCloseTo(expected, 1)
  })
})

function coherence(a: Float32Array, b: Float32Array): number {
  let ab = 0
  let aa = 0
  let bb = 0
  for (let i = 0; i < a.length; i++) {
    ab += a[i]! * b[i]!
    aa += a[i]! ** 2
    bb += b[i]! ** 2
  }
  return ab / Math.sqrt(aa * bb)
}

/** Phase lead of `b` over `a` in degrees, averaged over 1 .. 2 kHz, power-weighted. */
function toneLag(a: Float32Array, b: Float32Array): number {
  let re = 0
  let im = 0
  const n = 4096
  for (let hz = 1000; hz < 2000; hz += 10) {
    const at = (x: Float32Array) => {
      let c = 0
      let s = 0
      for (let i = 0; i < n; i++) {
        const w = Math.sin((Math.PI * i) / n) ** 2
        const angle = (2 * Math.PI * hz * i) / 48000
        c += w * x[20000 + i]! * Math.cos(angle)
        s -= w * x[20000 + i]! * Math.sin(angle)
      }
      return [c, s] as const
    }
    const [ar, ai] = at(a)
    const [br, bi] = at(b)
    re += br * ar + bi * ai
    im += bi * ar - br * ai
  }
  return (Math.atan2(im, re) * 180) / Math.PI
}
