import { describe, expect, it } from 'vitest'
import { loadKernels } from '../../../test/testkit/kernels.ts'
import { differenceDb, noise, programme, sourceOf, stereo } from '../../../test/testkit/mixes.ts'
import {
  Cancelled,
  defaultSettings,
  type SourceReading,
  segmentAt,
  segmentCount,
  shareAt,
  steadyUpmix,
  UPMIX_PARAMETERS,
  type UpmixPlan,
  type UpmixSettings,
  upmixStretches,
} from '../../domain/index.ts'
import { type UpmixedSegment, upmixSegment } from './upmix.ts'

const MEBIBYTE = 1024 * 1024
const DEFAULTS = defaultSettings(UPMIX_PARAMETERS)
const EVERYTHING: UpmixSettings = {
  ...DEFAULTS,
  surroundHighCutHz: 7000,
  surroundLowCutHz: 40,
  surroundDelayMs: 40,
  surroundSpread: 'velvet',
  lfeGainDb: -10,
  lfeCornerHz: 60,
}

/** Plain stereo of 52.3 s with a voice now here, now there, also where one segment ends and the next begins. */
const SPOKEN: SourceReading = {
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
  voice100ms: Array.from({ length: 523 }, (_, hop) => (hop % 17 < 9 ? 255 - 20 * (hop % 9) : 0)),
  evidence: [],
}

function copy(segment: UpmixedSegment): UpmixedSegment {
  return {
    firstFrame: segment.firstFrame,
    left: segment.left.slice(),
    right: segment.right.slice(),
    centre: segment.centre.slice(),
    leftSurround: segment.leftSurround.slice(),
    rightSurround: segment.rightSurround.slice(),
    lfe: segment.lfe?.slice() ?? null,
  }
}

/** Equal to the bit in every signal. */
function expectSame(a: UpmixedSegment, b: UpmixedSegment): void {
  for (const name of ['left', 'right', 'centre', 'leftSurround', 'rightSurround', 'lfe'] as const) {
    expect(a[name]?.length).toBe(b[name]?.length)
    expect(a[name]?.every((x, i) => Object.is(x, b[name]?.[i]))).toBe(b[name] === null ? undefined : true)
  }
}

describe('segments of an upmix', () => {
  const cases: readonly { name: string; settings: UpmixSettings; rate: number; reading?: SourceReading }[] = [
    { name: 'defaults', settings: DEFAULTS, rate: 48000 },
    { name: 'everything that reaches far', settings: EVERYTHING, rate: 48000 },
    { name: 'everything at 44.1 kHz', settings: EVERYTHING, rate: 44100 },
    { name: 'everything at 32 kHz', settings: EVERYTHING, rate: 32000 },
    { name: 'a voice across the borders', settings: DEFAULTS, rate: 44100, reading: SPOKEN },
    { name: 'Lt/Rt', settings: { ...EVERYTHING, kind: 'lt-rt' }, rate: 48000 },
    { name: 'Lt/Rt at 44.1 kHz', settings: { ...EVERYTHING, kind: 'lt-rt' }, rate: 44100 },
    { name: 'Lt/Rt at 32 kHz', settings: { ...EVERYTHING, kind: 'lt-rt' }, rate: 32000 },
  ]
  it.each(cases)('agree with their neighbours where they overlap: $name', ({ settings, rate, reading }) => {
    const kernels = loadKernels(95 * MEBIBYTE)
    const tracks = programme(52.3 * rate, rate)
    const source = sourceOf(tracks, rate)
    const count = segmentCount(source.frameCount, rate)
    const plan = { ...steadyUpmix(settings), ...(reading && { reading }) }
    const parts = Array.from({ length: count }, (_, index) => {
      const mark = kernels.arena.mark()
      const part = copy(upmixSegment(kernels, source, segmentAt(index, source.frameCount, rate), plan))
      kernels.arena.release(mark)
      return part
    })
    expect(parts).toHaveLength(3)
    for (let index = 1; index < parts.length; index++) {
      const before = parts[index - 1]!
      const after = parts[index]!
      const end = Math.min(before.firstFrame + before.centre.length, after.firstFrame + after.centre.length)
      const overlap = end - after.firstFrame
      expect(overlap).toBeGreaterThanOrEqual(0.5 * rate)
      const shift = after.firstFrame - before.firstFrame
      for (const name of ['centre', 'leftSurround', 'rightSurround', 'left', 'right', 'lfe'] as const) {
        if (settings.lfeGainDb === DEFAULTS.lfeGainDb && name === 'lfe') continue
        const a = before[name]!.subarray(shift, shift + overlap)
        const b = after[name]!.subarray(0, overlap)
        expect(differenceDb(a, b)).toBeLessThan(-120)
        expect(a.some((x) => x !== 0)).toBe(true)
      }
    }
    const first = parts[0]!
    expect(first.firstFrame).toBe(0)
    expect(first.left.subarray(0, 1000)).toEqual(tracks.left.subarray(0, 1000))
    const last = parts[2]!
    expect(last.firstFrame + last.left.length).toBe(source.frameCount)
  })

  it('gives the same bytes whatever was computed before', () => {
    const tracks = programme(30 * 48000, 48000)
    const source = sourceOf(tracks, 48000)
    const segment = segmentAt(1, source.frameCount, 48000)
    const fresh = loadKernels(95 * MEBIBYTE)
    const used = loadKernels(95 * MEBIBYTE)
    const mark = used.arena.mark()
    upmixSegment(used, source, segmentAt(0, source.frameCount, 48000), steadyUpmix(EVERYTHING))
    used.arena.release(mark)
    expectSame(
      upmixSegment(used, source, segment, steadyUpmix(DEFAULTS)),
      upmixSegment(fresh, source, segment, steadyUpmix(DEFAULTS)),
    )
  })

  it('hold in 512 MiB at 192 kHz, with a stem', () => {
    const kernels = loadKernels(512 * MEBIBYTE)
    const [l, r] = [noise(1), noise(2)]
    const tracks = stereo(5308416, (i) => (i < 100000 ? [0.1 * l(), 0.1 * r()] : [0, 0]))
    const source = sourceOf(tracks, 192000)
    const mark = kernels.arena.mark()
    upmixSegment(kernels, source, segmentAt(0, source.frameCount, 192000), steadyUpmix(EVERYTHING), { through: source })
    expect(kernels.arena.mark() - mark).toBeLessThan(400 * MEBIBYTE)
  })

  it('stops when asked to', () => {
    const kernels = loadKernels(95 * MEBIBYTE)
    const source = sourceOf(programme(48000, 48000), 48000)
    const segment = segmentAt(0, source.frameCount, 48000)
    expect(() =>
      upmixSegment(kernels, source, segment, steadyUpmix(DEFAULTS), { cancellation: { aborted: true } }),
    ).toThrow(Cancelled)
  })

  it('a stem through its own mix is the mix', () => {
    const kernels = loadKernels(95 * MEBIBYTE)
    const source = sourceOf(programme(48000, 48000), 48000)
    const segment = segmentAt(0, source.frameCount, 48000)
    const plain = copy(upmixSegment(kernels, source, segment, steadyUpmix(EVERYTHING)))
    expectSame(upmixSegment(kernels, source, segment, steadyUpmix(EVERYTHING), { through: source }), plain)
  })
})

/** A tone of each octave under 5 kHz, panned here and there, so that little lies above. */
function steadyTones(seconds: number, rate: number) {
  const parts = [
    [220, 0.1, 0.1],
    [523.25, 0.12, 0.03],
    [1318.5, 0.02, 0.06],
    [2217.5, 0.04, 0.04],
  ] as const
  return stereo(seconds * rate, (i) => {
    let [left, right] = [0, 0]
    for (const [hz, toLeft, toRight] of parts) {
      const angle = (2 * Math.PI * hz * i) / rate
      left += toLeft * Math.sin(angle)
      right += toRight * Math.sin(angle + 0.4)
    }
    return [left, right]
  })
}

/** Butterworth of the eighth order as four sections. @source the usual bilinear second-order high-pass, from memory */
function highPassed(samples: Float32Array, cornerHz: number, rate: number): Float64Array {
  let signal = Float64Array.from(samples)
  const angle = (2 * Math.PI * cornerHz) / rate
  for (const section of [0, 1, 2, 3]) {
    const alpha = Math.sin(angle) * Math.cos((Math.PI * (2 * section + 1)) / 16)
    const [b, a1, a2] = [(1 + Math.cos(angle)) / 2, -2 * Math.cos(angle), 1 - alpha].map((x) => x / (1 + alpha)) as [
      number,
      number,
      number,
    ]
    let [x1, x2, y1, y2] = [0, 0, 0, 0]
    signal = signal.map((x) => {
      const y = b * (x - 2 * x1 + x2) - a1 * y1 - a2 * y2
      ;[x2, x1, y2, y1] = [x1, x, y1, y]
      return y
    })
  }
  return signal
}

describe('scenes of an upmix', () => {
  const RATE = 48000
  const OTHER: UpmixSettings = {
    ...DEFAULTS,
    centreShare: 0.3,
    ambienceShare: 0.2,
    surroundHighCutHz: 7000,
    surroundDelayMs: 12,
    surroundSpread: 'velvet',
    lfeGainDb: -10,
  }
  const sceneOf = (startFrame: number, endFrame: number, settings: UpmixSettings, glideFrames: number): UpmixPlan => ({
    settings: DEFAULTS,
    scenes: [{ startFrame, endFrame, name: null, settings, glideInFrames: glideFrames, glideOutFrames: glideFrames }],
  })
  const SIGNALS = ['centre', 'leftSurround', 'rightSurround'] as const

  it('are the cross-fade of what each set of settings makes of the whole', () => {
    const kernels = loadKernels(95 * MEBIBYTE)
    const source = sourceOf(programme(8 * RATE, RATE), RATE)
    const segment = segmentAt(0, source.frameCount, RATE)
    const plan = sceneOf(3.001 * RATE, 5 * RATE, OTHER, 4800)
    const made = (of: UpmixPlan) => {
      const mark = kernels.arena.mark()
      const result = copy(upmixSegment(kernels, source, segment, of))
      kernels.arena.release(mark)
      return result
    }
    const [mixed, before, within] = [made(plan), made(steadyUpmix(DEFAULTS)), made(steadyUpmix(OTHER))]
    const [, scene] = upmixStretches(plan)
    for (const name of SIGNALS) {
      const expected = before[name].map((x, i) => {
        const share = shareAt(scene!, i)
        return (1 - share) * x + share * within[name][i]!
      })
      expect(differenceDb(mixed[name], expected)).toBeLessThan(-120)
      expect(differenceDb(mixed[name], before[name])).toBeGreaterThan(-60)
    }
    expect(
      differenceDb(
        mixed.lfe!,
        within.lfe!.map((x, i) => shareAt(scene!, i) * x),
      ),
    ).toBeLessThan(-120)
    expect(mixed.left).toEqual(before.left)
  })

  it('do not depend on where segments lie: changes on, beside and across a border of segments', () => {
    const kernels = loadKernels(95 * MEBIBYTE)
    const source = sourceOf(programme(30 * RATE, RATE), RATE)
    for (const border of [25.6 * RATE, 25.6 * RATE - 7, 25.3 * RATE, 26.05 * RATE + 1]) {
      const plan = sceneOf(20 * RATE, border, OTHER, RATE)
      const [before, after] = [0, 1].map((index) => {
        const mark = kernels.arena.mark()
        const part = copy(upmixSegment(kernels, source, segmentAt(index, source.frameCount, RATE), plan))
        kernels.arena.release(mark)
        return part
      }) as [UpmixedSegment, UpmixedSegment]
      const overlap = before.firstFrame + before.centre.length - after.firstFrame
      expect(overlap).toBeGreaterThan(RATE)
      for (const name of SIGNALS) {
        const a = before[name].subarray(after.firstFrame - before.firstFrame)
        expect(differenceDb(a, after[name].subarray(0, overlap))).toBeLessThan(-120)
      }
    }
  })

  // docs/decisions/0019: a hard switch of the same settings stands 40 dB and more above the steady state.
  it.each([480, 960, 4800])('a glide of %i frames stays within 1 dB of the steady state above 5 kHz', (glideFrames) => {
    const kernels = loadKernels(95 * MEBIBYTE)
    const source = sourceOf(steadyTones(6, RATE), RATE)
    const segment = segmentAt(0, source.frameCount, RATE)
    const settings = { ...DEFAULTS, centreShare: 0.3, ambienceShare: 0.2 }
    const peaksDb = (frames: number) => {
      const mark = kernels.arena.mark()
      const made = copy(upmixSegment(kernels, source, segment, sceneOf(3 * RATE, 4.5 * RATE, settings, frames)))
      kernels.arena.release(mark)
      return SIGNALS.map((name) => {
        const above = highPassed(made[name], 5000, RATE)
        const peak = (from: number, to: number) =>
          above.subarray(from * RATE, to * RATE).reduce((highest, x) => Math.max(highest, Math.abs(x)), 1e-12)
        return 20 * Math.log10(peak(2.8, 4.8) / Math.max(peak(1.5, 2.5), peak(3.4, 4.2)))
      })
    }
    for (const overSteadyDb of peaksDb(glideFrames)) expect(overSteadyDb).toBeLessThan(1)
    expect(Math.max(...peaksDb(0))).toBeGreaterThan(20)
  })
})
