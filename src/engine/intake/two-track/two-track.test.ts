import { describe, expect, it } from 'vitest'
import { loadKernels } from '../../../../test/testkit/kernels.ts'
import { noise } from '../../../../test/testkit/mixes.ts'
import { inspectTracks, type Tracks } from '../../../../test/testkit/two-track-mixes.ts'

// Outside authority: how each pair of tracks was made. Real programmes are judged in test/quality/two-track.test.ts.
const kernels = loadKernels()

/** Bursts of noise in the middle, four a second, over a softer bed that the tracks do not share. */
function plain(rate: number, seconds = 12, bedGain = 0.1): Tracks {
  const [middle, bedLeft, bedRight] = [noise(1), noise(2), noise(3)]
  const left = new Float32Array(seconds * rate)
  const right = new Float32Array(seconds * rate)
  for (let frame = 0; frame < left.length; frame++) {
    const burst = (frame * 4) % rate < rate / 2 ? 0.2 * middle() : 0.02 * middle()
    left[frame] = burst + 0.2 * bedGain * bedLeft()
    right[frame] = burst + 0.2 * bedGain * bedRight()
  }
  return { left, right }
}

function late(track: Float32Array, frames: number): Float32Array {
  const out = new Float32Array(track.length)
  out.set(track.subarray(0, track.length - frames), frames)
  return out
}

const kindsOf = (tracks: Tracks, rate: number) => inspectTracks(kernels, tracks, rate).stretches.map(({ kind }) => kind)

describe.each([32000, 44100, 96000])('two tracks at %i Hz', (rate) => {
  const { left, right } = plain(rate)
  const silence = new Float32Array(left.length)

  it('are told apart: plain, the same, upside down, late, on one side, silent', () => {
    expect(kindsOf({ left, right }, rate)).toEqual(['plain-stereo'])
    expect(kindsOf({ left, right: left }, rate)).toEqual(['dual-mono'])
    expect(kindsOf({ left, right: right.map((sample) => -sample) }, rate)).toEqual(['polarity-inverted'])
    expect(kindsOf({ left, right: silence }, rate)).toEqual(['one-sided'])
    expect(kindsOf({ left: silence, right: silence }, rate)).toEqual(['silent'])
    const [offset] = inspectTracks(kernels, { left: late(left, 57), right }, rate).stretches
    expect(offset).toMatchObject({ kind: 'time-offset', side: 'left' })
    expect(offset!.figures.lagFrames).toBeCloseTo(-57, 1)
  })
})

describe('two tracks', () => {
  it('a head that stands askew by a few frames of 192 kHz is measured to the microsecond', () => {
    const { left } = plain(192000, 12, 0)
    for (const frames of [2, 4, 8]) {
      const azimuth = inspectTracks(kernels, { left, right: late(left, frames) }, 192000).azimuth!
      expect(Math.abs(azimuth.medianMicroseconds - frames / 0.192)).toBeLessThan(1)
      expect(azimuth.mostMicroseconds - azimuth.leastMicroseconds).toBeLessThan(1)
    }
  })

  it('the answer does not move with the level, and a direct current changes nothing', () => {
    const { left, right } = plain(48000)
    const quiet = { left: left.map((x) => x / 64 + 0.01), right: right.map((x) => x / 64) }
    const [loud] = inspectTracks(kernels, { left, right }).stretches
    const [soft] = inspectTracks(kernels, quiet).stretches
    expect(soft!.kind).toBe(loud!.kind)
    expect(soft!.figures.levelDifferenceDb).toBeCloseTo(loud!.figures.levelDifferenceDb!, 1)
    expect(soft!.figures.rho).toBeCloseTo(loud!.figures.rho!, 2)
    expect(soft!.figures.pos).toBeCloseTo(loud!.figures.pos, 2)
  })

  it.each([1, 100, 5000, 9600])('a programme of %i frames gets an answer', (frameCount) => {
    const tone = Float32Array.from({ length: frameCount }, (_, frame) => 0.1 * Math.sin(frame / 7))
    const report = inspectTracks(kernels, { left: tone, right: tone })
    expect(report.stretches).toHaveLength(1)
    expect(report.stretches[0]).toMatchObject({ startFrame: 0, endFrame: frameCount })
    expect(report.azimuth).toBeNull()
    expect(JSON.parse(JSON.stringify(report))).toEqual(report)
  })

  it('stretches cover the programme from end to end, over the borders of segments', () => {
    const { left, right } = plain(48000, 40)
    const changed = right.slice()
    changed.fill(0, 29 * 48000)
    const { stretches } = inspectTracks(kernels, { left, right: changed })
    expect(stretches[0]!.startFrame).toBe(0)
    expect(stretches.at(-1)!.endFrame).toBe(left.length)
    for (let index = 1; index < stretches.length; index++) {
      expect(stretches[index]!.startFrame).toBe(stretches[index - 1]!.endFrame)
    }
    expect(stretches.map(({ kind }) => kind)).toEqual(['plain-stereo', 'one-sided'])
  })
})
