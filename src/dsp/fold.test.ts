import { describe, expect, it } from 'vitest'
import { loadKernels } from '../../test/testkit/kernels.ts'
import { noise } from '../../test/testkit/mixes.ts'
import { takePlane } from './decode.ts'
import { foldedSample, leftOverReference, turnedSample, wordDifference } from './fold.reference.ts'
import { Differences, highestOfSum, QuarterTurn, sumPlanes } from './fold.ts'
import { quarterTurnTaps } from './fold-quarter.ts'

const kernels = loadKernels(16 * 1024 * 1024)

function doubles(address: number, count: number): Float64Array {
  return new Float64Array(kernels.memory.buffer, address, count)
}

describe('a sum of planes', () => {
  it('is the sum of the equation, in its order, to the bit', () => {
    const random = noise(11)
    const frameCount = 1001
    const weights = [1, Math.SQRT1_2, 0.5]
    const planes = weights.map((_, channel) => takePlane(kernels, frameCount + 7, channel === 1))
    const samples = planes.map((plane) => {
      const Samples = plane.isWide ? Float64Array : Float32Array
      return new Samples(kernels.memory.buffer, plane.address, frameCount + 7).map(random)
    })
    planes.forEach((plane, channel) => {
      const Samples = plane.isWide ? Float64Array : Float32Array
      new Samples(kernels.memory.buffer, plane.address, frameCount + 7).set(samples[channel]!)
    })
    const sum = takePlane(kernels, frameCount, true)
    const signal = planes.map((plane, channel) => ({ plane, weight: weights[channel]! }))
    sumPlanes(kernels, signal, 7, frameCount, sum)
    const expected = Float64Array.from({ length: frameCount }, (_, frame) =>
      foldedSample(
        samples.map((channel) => channel[frame + 7]!),
        weights,
      ),
    )
    expect(doubles(sum.address, frameCount)).toEqual(expected)
    // What lies behind the end must not count as an over of the last group of words.
    expect(doubles(sum.address + frameCount * 8, 4)).toEqual(new Float64Array(4))
    const highest = expected.reduce((peak, sample) => Math.max(peak, Math.abs(sample)), 0)
    expect(highestOfSum(kernels, sum, frameCount)).toBe(highest)
  })
})

describe('a turn by 90 degrees', () => {
  it('is its slow twin, to the bit, wherever a block starts', () => {
    const mark = kernels.arena.mark()
    const frameCount = 203
    const turner = new QuarterTurn(kernels, 48000, frameCount)
    const length = frameCount + 2 * turner.reachFrames
    const samples = takePlane(kernels, length, true)
    const random = noise(12)
    const signal = doubles(samples.address, length)
      .map(() => random())
      .slice()
    const taps = quarterTurnTaps(48000)
    doubles(samples.address, length).set(signal)
    const whole = turner.turn(samples, frameCount)
    const at = (plane: { address: number }, count: number) =>
      new Float32Array(kernels.memory.buffer, plane.address + turner.reachFrames * 4, count).slice()
    const turned = at(whole, frameCount)
    const twin = Float32Array.from({ length: frameCount }, (_, frame) =>
      turnedSample((i) => signal[i]!, taps, frame + turner.reachFrames),
    )
    expect(turned).toEqual(twin)
    doubles(samples.address, length - 5).set(signal.subarray(5))
    expect(at(turner.turn(samples, frameCount - 5), frameCount - 5)).toEqual(twin.subarray(5))
    kernels.arena.release(mark)
  })

  // A type III filter turns by exactly 90 degrees; what remains to be shown is its level: 2 sum h(k) sin(k w), the
  // transform of an antisymmetric response (Oppenheim and Schafer, linear-phase systems).
  it.each([32000, 44100, 48000, 96000, 192000])(
    'keeps the level within 0.1 dB from 40 Hz to 20 kHz at %d Hz',
    (rate) => {
      const taps = quarterTurnTaps(rate)
      const levelDb = (hz: number) => {
        let sum = 0
        taps.forEach((tap, index) => {
          sum += tap * Math.sin((2 * Math.PI * hz * (2 * (taps.length - index) - 1)) / rate)
        })
        return 20 * Math.log10(2 * sum)
      }
      const highestHz = Math.min(20000, rate / 2 - 40)
      let worst = 0
      for (let hz = 40; hz < highestHz; hz *= 1.003) worst = Math.max(worst, Math.abs(levelDb(hz)))
      worst = Math.max(worst, Math.abs(levelDb(highestHz)))
      expect(worst).toBeLessThan(0.1)
      expect(worst).toBeGreaterThan(0.01)
    },
  )
})

describe('differences', () => {
  /** A wide plane of so many samples. */
  function wide(count: number, sample: (frame: number) => number) {
    const plane = takePlane(kernels, count, true)
    const samples = doubles(plane.address, count)
    for (let frame = 0; frame < count; frame++) samples[frame] = sample(frame)
    return { plane, samples }
  }

  it.each([1, 2, 1001])('of %i words from sums that are rounded and held: their number and the largest', (count) => {
    const mark = kernels.arena.mark()
    const random = noise(21)
    // Some sums pass full scale and are held there; every seventh word is off by up to three steps.
    const sum = wide(count, () => 1.2 * random())
    const written = wide(count, (frame) => {
      const word = Math.max(-32768, Math.min(32767, Math.floor(sum.samples[frame]! * 32768 + 0.5)))
      return (frame % 7 === 6 ? Math.max(-32768, word - (frame % 4)) : word) / 32768
    })
    const wanted = Array.from(sum.samples, (each, frame) => wordDifference(each, written.samples[frame]!, 32768))
    const differences = new Differences(kernels)
    differences.compareWords(sum.plane, written.plane, count, 32768)
    const differing = wanted.filter((difference) => difference > 0)
    expect(differences.words).toEqual({ count: differing.length, largest: Math.max(0, ...differing) })
    if (count === 1001) expect(differing.length).toBeGreaterThan(50)
    kernels.arena.release(mark)
  })

  it('of two tracks from others under a gain, block after block, to the bit', () => {
    const mark = kernels.arena.mark()
    const random = noise(22)
    const differences = new Differences(kernels)
    const all = Array.from({ length: 5 }, (): number[] => [])
    for (const count of [301, 64]) {
      const tracks = all.map(() => wide(count, random))
      const [gain, lo, ro, left, right] = tracks.map(({ plane }) => plane)
      differences.compareUnder(gain!, [lo!, ro!], [left!, right!], count)
      tracks.forEach(({ samples }, at) => all[at]!.push(...samples))
    }
    const [gain, lo, ro, left, right] = all.map((samples) => Float64Array.from(samples))
    expect(differences.leftOver).toEqual(leftOverReference([lo!, ro!], [left!, right!], gain!))
    kernels.arena.release(mark)
  })
})
