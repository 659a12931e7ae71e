import { describe, expect, it } from 'vitest'
import { loadKernels } from '../../../test/testkit/kernels.ts'
import { noise, programme, type Stereo, sourceOf, stereo } from '../../../test/testkit/mixes.ts'
import {
  defaultSettings,
  type SeenBand,
  type SourceReading,
  segmentAt,
  UPMIX_PARAMETERS,
  type UpmixPlan,
  type UpmixSettings,
} from '../../domain/index.ts'
import { explainUpmix } from './explain-upmix.ts'
import { upmixSegment } from './upmix.ts'

const RATE = 48000
const DEFAULTS = defaultSettings(UPMIX_PARAMETERS)

function explain(tracks: Stereo, frame: number, settings: Partial<UpmixSettings> = {}, plan: Partial<UpmixPlan> = {}) {
  const source = sourceOf(tracks, RATE)
  const whole = { settings: { ...DEFAULTS, ...settings }, scenes: [], ...plan }
  return explainUpmix(loadKernels(), source, segmentAt(0, source.frameCount, RATE), whole, frame)
}

/** What was seen of all bands. */
function seen(...words: Parameters<typeof explain>): SeenBand {
  return explain(...words).heard[0]?.saw.total as SeenBand
}

const hiss = noise(5)
const MONO = Float64Array.from({ length: RATE }, () => 0.25 * hiss())
const at = (left: number, right: number): Stereo => ({
  left: MONO.map((x) => left * x),
  right: MONO.map((x) => right * x),
})
const SILENT: Stereo = { left: new Float64Array(RATE), right: new Float64Array(RATE) }

const PLAIN: SourceReading = {
  found: 'plain-stereo',
  kind: 'stereo',
  confidence: 1,
  isDoubtful: false,
  onlySide: null,
  isInverted: false,
  offsetMicroseconds: 0,
  isWide: false,
  delay: [],
  noiseFloor: null,
  voice100ms: null,
  evidence: [],
}

describe('what is seen of sources that are known', () => {
  it('one sound on both tracks: all of it is common, none diffuse, and it goes to the centre', () => {
    const { heard, total } = explain(at(1, 1), 24000)
    expect(heard[0]?.saw.total.common).toBeCloseTo(1, 4)
    expect(heard[0]?.saw.total.diffuseness).toBeCloseTo(0, 4)
    expect(heard[0]?.saw.total.dominance).toBeCloseTo(0, 6)
    expect(heard[0]?.saw.speech).toBe(1)
    expect(total.shares?.centre).toBeGreaterThan(0.9999)
  })

  // Averages over n independent tiles leave a coherence of about 1 / sqrt n between noises without relation: with some
  // 12 tiles at low and 200 at high frequencies the power without direction is 0.7 .. 0.95 of the whole, not quite 1.
  it('noises without relation: diffuse, and the surrounds get most', () => {
    const [l, r] = [noise(6), noise(7)]
    const tracks = stereo(RATE, () => [0.2 * l(), 0.2 * r()])
    const { heard, total } = explain(tracks, 24000)
    const saw = heard[0]?.saw
    expect(saw?.total.diffuseness).toBeGreaterThan(0.85)
    expect(saw?.bands.at(-2)?.diffuseness).toBeGreaterThan(0.9)
    expect(saw?.total.common).toBeLessThan(0.15)
    expect(total.shares?.surrounds).toBeGreaterThan(total.shares?.centre as number)
  })

  // Tangent law: tan a / tan 30 degrees = (l - r) / (l + r) = g; with the sine law the same of sines. Then
  // (l^2 - r^2) / (l^2 + r^2) = 2 g / (1 + g^2) (arithmetic).
  const degrees = Math.PI / 180
  it.each([
    { law: 'tangent', angle: 30, g: 1 },
    { law: 'tangent', angle: 15, g: Math.tan(15 * degrees) / Math.tan(30 * degrees) },
    { law: 'tangent', angle: -10, g: -Math.tan(10 * degrees) / Math.tan(30 * degrees) },
    { law: 'sine', angle: -22, g: -Math.sin(22 * degrees) / Math.sin(30 * degrees) },
  ])('a source at $angle degrees by the $law law has its dominance', ({ g }) => {
    const { dominance } = seen(at((1 + g) / 2, (1 - g) / 2), 24000)
    expect(dominance).toBeCloseTo((2 * g) / (1 + g * g), 3)
  })

  it('an Lt/Rt of centre alone is in phase, of surround alone out of phase', () => {
    expect(seen(at(1, 1), 24000, { kind: 'lt-rt' })).toMatchObject({ inPhase: expect.closeTo(1, 4), common: null })
    expect(seen(at(1, -1), 24000, { kind: 'lt-rt' }).inPhase).toBeCloseTo(-1, 4)
    expect(explain(at(1, -1), 24000, { kind: 'lt-rt' }).total.shares?.surrounds).toBeGreaterThan(0.999)
  })

  it('speech in the middle holds the surrounds back, unless they are told not to', () => {
    const [l, r] = [noise(8), noise(9)]
    const tracks = stereo(RATE, (n) => [0.05 * l() + (MONO[n] as number), 0.05 * r() + (MONO[n] as number)])
    const held = explain(tracks, 24000)
    expect(held.heard[0]?.saw.speech).toBeGreaterThan(0.5)
    const duckDb = (midHz: number) =>
      held.heard[0]?.saw.bands[held.bands.findIndex((band) => band.midHz === midHz)]?.duckDb
    expect(duckDb(2000)).toBeLessThan(-6)
    // Above the range of speech nothing is held back.
    expect(duckDb(12500)).toBeCloseTo(0, 6)
    expect(seen(tracks, 24000, { surroundSpeechReject: 0 }).duckDb).toBeCloseTo(0, 6)
  })

  it('silence shows nothing', () => {
    const { heard, total } = explain(SILENT, 24000)
    expect(heard[0]?.saw.total).toEqual({
      common: null,
      diffuseness: null,
      dominance: null,
      inPhase: null,
      duckDb: null,
    })
    expect(total).toMatchObject({ shares: null, masterDbfs: { left: null, right: null } })
  })
})

describe('what is told of a moment', () => {
  it('a sine in its third octave, at its level', () => {
    // Mean square of a sine of amplitude 0.1: 0.1^2 / 2, -23.01 dBFS.
    const sine = Float64Array.from({ length: RATE }, (_, n) => 0.1 * Math.sin((2 * Math.PI * 1000 * n) / RATE))
    const { bands, total } = explain({ left: sine, right: new Float64Array(RATE) }, 24000)
    expect(total.masterDbfs.left).toBeCloseTo(-23.01, 2)
    expect(total.masterDbfs.right).toBeNull()
    expect(total.shares).toEqual({ centre: 0, fronts: 1, surrounds: 0 })
    const loudest = bands.reduce((a, b) => ((a.masterDbfs.left ?? -999) > (b.masterDbfs.left ?? -999) ? a : b))
    expect(loudest.midHz).toBe(1000)
    expect(loudest.masterDbfs.left).toBeCloseTo(-23.01, 0)
  })

  it('the frames are those of the two transforms around it, at both ends of the programme too', () => {
    const { startFrame, endFrame } = explain(at(1, 1), 24000)
    expect((startFrame + endFrame) / 2).toBeGreaterThanOrEqual(24000 - 256)
    expect((startFrame + endFrame) / 2).toBeLessThanOrEqual(24000 + 256)
    expect(endFrame - startFrame).toBe(1024 + 256)
    for (const frame of [0, RATE - 1]) expect(explain(at(1, 1), frame).total.shares?.centre).toBeGreaterThan(0.999)
  })

  it('a sound that begins there is cut from what was before', () => {
    const [l, r] = [noise(10), noise(11)]
    const tracks = stereo(RATE, (n) => (n < 24000 ? [0.001 * l(), 0.001 * r()] : [0.5 * l(), 0]))
    const [onset] = explain(tracks, 24000).heard[0]?.saw.onsetFrames ?? []
    // Blocks of 16 frames.
    expect(Math.abs((onset as number) - 24000)).toBeLessThanOrEqual(16)
    expect(explain(tracks, 12000).heard[0]?.saw.onsetFrames).toEqual([])
  })

  it('the scene, its settings, and both of them in a glide', () => {
    const settings = { ...DEFAULTS, centreShare: 0.5 }
    const scene = { name: 'storm', startFrame: 20000, endFrame: RATE, settings, glideInFrames: 4800, glideOutFrames: 0 }
    const plan = { scenes: [scene] }
    const inside = explain(at(1, 1), 30000, {}, plan)
    expect(inside.heard).toMatchObject([{ scene: 'storm', isScene: true, share: 1, settings: { centreShare: 0.5 } }])
    expect(explain(at(1, 1), 10000, {}, plan).heard).toMatchObject([{ scene: null, isScene: false, share: 1 }])
    const glide = explain(at(1, 1), 20600, {}, plan).heard
    expect(glide.map((one) => one.scene)).toEqual(['storm', null])
    expect(glide.reduce((sum, { share }) => sum + share, 0)).toBeCloseTo(1, 9)
    expect(glide[0]?.saw.total.common).toBeCloseTo(1, 4)
  })

  it('the delay of a tape head at the moment, between the places where it was read', () => {
    const delay = [
      { frame: 0, microseconds: 10 },
      { frame: RATE, microseconds: 30 },
    ]
    expect(explain(at(1, 1), 24000, {}, { reading: { ...PLAIN, delay } }).azimuthMicroseconds).toBeCloseTo(20, 9)
    expect(explain(at(1, 1), 24000).azimuthMicroseconds).toBe(0)
  })

  it('asking changes no bit of the upmix', () => {
    const tracks = programme(RATE, RATE)
    const source = sourceOf(tracks, RATE)
    const plan = { settings: DEFAULTS, scenes: [] }
    const plain = upmixSegment(loadKernels(), source, segmentAt(0, RATE, RATE), plan)
    let told = 0
    const watch = { frame: 24000, seen: () => void told++ }
    const watched = upmixSegment(loadKernels(), source, segmentAt(0, RATE, RATE), plan, { watch })
    expect(told).toBe(1)
    for (const name of ['centre', 'leftSurround', 'rightSurround'] as const) {
      expect(watched[name]).toEqual(plain[name])
    }
  })
})
