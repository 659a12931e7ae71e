import { describe, expect, it } from 'vitest'
import { loadKernels } from '../../test/testkit/kernels.ts'
import { levelDb, noise, programme, type Stereo, stereo, upmix } from '../../test/testkit/mixes.ts'
import { upmixGeometry } from './upmix-geometry.ts'
import { onsetsByEquation } from './upmix-onsets.reference.ts'
import { findOnsets } from './upmix-onsets.ts'

const kernels = loadKernels(64 * 1024 * 1024)
const RATES = [32000, 44100, 48000, 88200, 96000, 192000]
const CHANNELS = ['left', 'right', 'centre', 'leftSurround', 'rightSurround'] as const

function onsetsOf(tracks: Stereo, rate: number): number[] {
  const mark = kernels.arena.mark()
  const take = (track: Float64Array) => {
    const plane = new Float64Array(kernels.memory.buffer, kernels.arena.take(track.length * 8), track.length)
    plane.set(track)
    return plane.byteOffset
  }
  const placed = { left: take(tracks.left), right: take(tracks.right) }
  const stretch = { tracks: placed, frameCount: tracks.left.length }
  const onsets = [...findOnsets(kernels, upmixGeometry(rate), stretch)]
  kernels.arena.release(mark)
  return onsets
}

/** Energy 30 .. 1 ms before a frame over that of the 100 ms from it on, in all five channels. */
function preEchoDb(out: ReturnType<typeof upmix>, onset: number, rate: number): number {
  const energy = (from: number, end: number) =>
    CHANNELS.reduce((sum, name) => sum + (end - from) * 10 ** (levelDb(out[name], from, end) / 10), 0)
  const before = energy(onset - Math.round(0.03 * rate), onset - Math.round(0.001 * rate))
  return 10 * Math.log10(before / energy(onset, onset + Math.round(0.1 * rate)))
}

describe('what is heard ahead of an onset', () => {
  // -45 dB: a sound up to 20 ms ahead is masked by a louder one only in part (backward masking, Zwicker and Fastl,
  // Psychoacoustics, from memory); one 45 dB below is not heard.
  it.each(RATES)('two clicks left and right 3 ms apart at %i Hz', (rate) => {
    const at = Math.round(0.5 * rate)
    const second = at + Math.round(0.003 * rate)
    const clicks = stereo(rate, (i) => [i === at ? 0.5 : 0, i === second ? 0.5 : 0])
    expect(preEchoDb(upmix(clicks, {}, rate), at, rate)).toBeLessThan(-45)
  })

  it.each(RATES)('a hit on one side while somebody in the middle speaks, at %i Hz', (rate) => {
    const [voice, burst, bedLeft, bedRight] = [noise(21), noise(22), noise(23), noise(24)]
    const at = Math.round(0.6137 * rate)
    const hit = stereo(rate, (i) => [i < at ? 0 : 0.5 * burst() * Math.exp((at - i) / (0.05 * rate)), 0])
    const mix = stereo(rate, (i) => {
      const middle = 0.1 * voice() * (1 + Math.sin((2 * Math.PI * 5 * i) / rate))
      return [middle + hit.left[i]! + 0.005 * bedLeft(), middle + 0.005 * bedRight()]
    })
    expect(preEchoDb(upmix(mix, {}, rate, hit), at, rate)).toBeLessThan(-45)
  })
})

describe('onsets', () => {
  it.each(RATES)('are those of the equations at %i Hz', (rate) => {
    const tracks = programme(rate, rate)
    const expected = onsetsByEquation(upmixGeometry(rate), tracks)
    expect(expected.length).toBeGreaterThan(2)
    expect(onsetsOf(tracks, rate)).toEqual(expected)
  })

  it('are found to the block wherever a sound begins, beside a louder one at another place', () => {
    const [steady, burst] = [noise(31), noise(32)]
    // 6 dB below what sounds on: the left track alone rises by 1 dB.
    const tracks = stereo(48000, (i) => {
      const x = 0.4 * steady()
      const y = i < 24000 ? 0 : 0.2 * burst()
      return [x + y, x + 0.3 * y]
    })
    expect(onsetsOf(tracks, 48000).filter((frame) => frame > 4800)).toEqual([24000])
  })

  it('are not found in steady noise, in a steady tone, in a fade of half a second, or in silence', () => {
    const [l, r] = [noise(33), noise(34)]
    const quiet: Record<string, Stereo> = {
      noise: stereo(96000, () => [0.2 * l(), 0.2 * r()]),
      tone: stereo(96000, (i) => [0.5 * Math.sin(i / 40), 0.2 * Math.sin(i / 40 + 1)]),
      fade: stereo(96000, (i) => [0.3 * l() * Math.min(1, Math.max(0, i / 24000 - 1)) + 0.003 * r(), 0.003 * r()]),
      silence: stereo(96000, () => [0, 0]),
    }
    for (const tracks of Object.values(quiet)) {
      expect(onsetsOf(tracks, 48000).filter((frame) => frame > 2400)).toEqual([])
    }
  })

  it('do not depend on where a stretch begins, to the frame', () => {
    const tracks = programme(96000, 48000)
    const whole = onsetsOf(tracks, 48000)
    for (const hops of [1, 2, 47, 96]) {
      const first = 256 * hops
      const later = { left: tracks.left.slice(first), right: tracks.right.slice(first) }
      const settled = (frame: number) => frame > first + 2048
      expect(
        onsetsOf(later, 48000)
          .map((frame) => frame + first)
          .filter(settled),
      ).toEqual(whole.filter(settled))
    }
  })
})
