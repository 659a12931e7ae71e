import { describe, expect, it } from 'vitest'
import { loadKernels } from '../../test/testkit/kernels.ts'
import { noise } from '../../test/testkit/mixes.ts'
import { inspectTracks } from '../../test/testkit/two-track-mixes.ts'
import { delayAt, readSource } from './source-reading.ts'

// Outside authority: how the tracks were made. Real masters are judged in test/quality.
const kernels = loadKernels()
const RATE = 48000

function bursts(seconds = 14): Float32Array {
  const sound = noise(3)
  return Float32Array.from({ length: seconds * RATE }, (_, n) => (n % RATE < RATE / 3 ? 0.3 : 0.01) * sound())
}

function late(track: Float32Array, frames: number): Float32Array {
  const out = new Float32Array(track.length)
  out.set(track.subarray(0, track.length - frames), frames)
  return out
}

const read = (left: Float32Array, right: Float32Array) => readSource(inspectTracks(kernels, { left, right }))

describe('two tracks, as an upmix sees them', () => {
  const track = bursts()
  const silence = new Float32Array(track.length)

  it('the same on both, on one side, upside down', () => {
    const told = { kind: 'stereo', isDoubtful: false, onlySide: null, isInverted: false, offsetMicroseconds: 0 }
    expect(read(track, track)).toMatchObject({ ...told, found: 'dual-mono', delay: [] })
    expect(read(silence, track)).toMatchObject({ ...told, onlySide: 'right' })
    expect(
      read(
        track,
        track.map((x) => -x),
      ),
    ).toMatchObject({ ...told, isInverted: true })
  })

  it('one of them late: an offset, signed, and not the delay of a tape head', () => {
    const reading = read(late(track, 48), track)
    expect(reading.offsetMicroseconds).toBeGreaterThan(-1010)
    expect(reading.offsetMicroseconds).toBeLessThan(-990)
    expect(reading.delay).toEqual([])
  })

  it('silent tracks ask for nothing', () => {
    expect(read(silence, silence)).toMatchObject({ kind: 'stereo', isDoubtful: false, delay: [], noiseFloor: null })
  })
})

describe('a delay along time', () => {
  const points = [
    { frame: 100, microseconds: 10 },
    { frame: 200, microseconds: 30 },
  ]
  it.each([
    [0, 10],
    [100, 10],
    [150, 20],
    [199, 29.8],
    [200, 30],
    [900, 30],
  ])('at frame %i is %f us', (frame, microseconds) => {
    expect(delayAt(points, frame)).toBeCloseTo(microseconds, 9)
  })
  it('is none where nothing was found', () => expect(delayAt([], 5)).toBe(0))
})
