import { describe, expect, it } from 'vitest'
import { loadKernels } from '../../../test/testkit/kernels.ts'
import { differenceDb, noise, programme, sourceOf, stereo } from '../../../test/testkit/mixes.ts'
import {
  Cancelled,
  defaultSettings,
  segmentAt,
  segmentCount,
  UPMIX_PARAMETERS,
  type UpmixSettings,
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
  const cases = [
    { name: 'defaults', settings: DEFAULTS, rate: 48000 },
    { name: 'everything that reaches far', settings: EVERYTHING, rate: 48000 },
    { name: 'everything at 44.1 kHz', settings: EVERYTHING, rate: 44100 },
    { name: 'everything at 32 kHz', settings: EVERYTHING, rate: 32000 },
  ]
  it.each(cases)('agree with their neighbours where they overlap: $name', ({ settings, rate }) => {
    const kernels = loadKernels(95 * MEBIBYTE)
    const tracks = programme(52.3 * rate, rate)
    const source = sourceOf(tracks, rate)
    const count = segmentCount(source.frameCount, rate)
    const parts = Array.from({ length: count }, (_, index) => {
      const mark = kernels.arena.mark()
      const part = copy(upmixSegment(kernels, source, segmentAt(index, source.frameCount, rate), settings))
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
    upmixSegment(used, source, segmentAt(0, source.frameCount, 48000), EVERYTHING)
    used.arena.release(mark)
    expectSame(upmixSegment(used, source, segment, DEFAULTS), upmixSegment(fresh, source, segment, DEFAULTS))
  })

  it('hold in 512 MiB at 192 kHz, with a stem', () => {
    const kernels = loadKernels(512 * MEBIBYTE)
    const [l, r] = [noise(1), noise(2)]
    const tracks = stereo(5308416, (i) => (i < 100000 ? [0.1 * l(), 0.1 * r()] : [0, 0]))
    const source = sourceOf(tracks, 192000)
    const mark = kernels.arena.mark()
    upmixSegment(kernels, source, segmentAt(0, source.frameCount, 192000), EVERYTHING, { through: source })
    expect(kernels.arena.mark() - mark).toBeLessThan(400 * MEBIBYTE)
  })

  it('stops when asked to', () => {
    const kernels = loadKernels(95 * MEBIBYTE)
    const source = sourceOf(programme(48000, 48000), 48000)
    const segment = segmentAt(0, source.frameCount, 48000)
    expect(() => upmixSegment(kernels, source, segment, DEFAULTS, { cancellation: { aborted: true } })).toThrow(
      Cancelled,
    )
  })

  it('a stem through its own mix is the mix', () => {
    const kernels = loadKernels(95 * MEBIBYTE)
    const source = sourceOf(programme(48000, 48000), 48000)
    const segment = segmentAt(0, source.frameCount, 48000)
    const plain = copy(upmixSegment(kernels, source, segment, EVERYTHING))
    expectSame(upmixSegment(kernels, source, segment, EVERYTHING, { through: source }), plain)
  })
})
