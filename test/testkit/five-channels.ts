// What a sound becomes in the five channels of an upmix, and the levels of what is there.
import {
  defaultSettings,
  FOLD_DOWN_K,
  readSource,
  type SourceReading,
  segmentAt,
  segmentCount,
  speechLane,
  steadyUpmix,
  UPMIX_PARAMETERS,
  type UpmixPlan,
  type UpmixSettings,
  voiceOf,
} from '../../src/domain/index.ts'
import { type Kernels, writeFronts } from '../../src/dsp/index.ts'
import { concludeReading, readSegment } from '../../src/engine/intake/index.ts'
import { listenToSegment } from '../../src/engine/measure/index.ts'
import { upmixSegment } from '../../src/engine/render/index.ts'
import { type Stereo, sourceOf } from './mixes.ts'
import { RATE } from './mixes-players.ts'
import { speechWeights } from './speech-model.ts'

export type Samples = Float32Array | Float64Array

/** The five channels that a sound becomes, and the LFE where the settings feed it. */
export type Five = {
  readonly left: Float64Array
  readonly right: Float64Array
  readonly centre: Float32Array
  readonly leftSurround: Float32Array
  readonly rightSurround: Float32Array
  readonly lfe: Float32Array | null
}

const weights = speechWeights()

/** What the program finds the two tracks to be before it upmixes them, and where it hears a voice. */
export function readingOf(kernels: Kernels, mix: Stereo): SourceReading {
  const mark = kernels.arena.mark()
  const source = sourceOf(mix, RATE)
  const { frameCount } = source
  const cut = Array.from({ length: segmentCount(frameCount, RATE) }, (_, index) => segmentAt(index, frameCount, RATE))
  const segments = cut.map((segment) => readSegment(kernels, source, segment))
  const voice100ms = voiceOf(speechLane(cut.map((segment) => listenToSegment(kernels, weights, source, segment))))
  kernels.arena.release(mark)
  const programme = { layout: '2.0', sampleRateHz: RATE, frameCount, speech: null } as const
  return { ...readSource(concludeReading(segments, programme).twoTrack), voice100ms }
}

/** The plan by which the program upmixes a mix. */
export function planFor(kernels: Kernels, mix: Stereo, settings: Partial<UpmixSettings> = {}): UpmixPlan {
  const all = { ...defaultSettings(UPMIX_PARAMETERS), ...settings }
  return { ...steadyUpmix(all), reading: readingOf(kernels, mix) }
}

/** Sends `stem` through the weights that `mix` gives. At most one segment (25.6 s). */
export function throughWeightsOf(kernels: Kernels, mix: Stereo, stem: Stereo, plan: UpmixPlan): Five {
  const mark = kernels.arena.mark()
  const source = sourceOf(mix, RATE)
  const segment = segmentAt(0, source.frameCount, RATE)
  const out = upmixSegment(kernels, source, segment, plan, { through: sourceOf(stem, RATE) })
  writeFronts(kernels, out, out, plan.settings.frontSpread, out)
  const five = {
    left: out.left.slice(),
    right: out.right.slice(),
    centre: out.centre.slice(),
    leftSurround: out.leftSurround.slice(),
    rightSurround: out.rightSurround.slice(),
    lfe: out.lfe?.slice() ?? null,
  }
  kernels.arena.release(mark)
  return five
}

export function db(ratio: number): number {
  return 10 * Math.log10(ratio)
}

export function energy(x: Samples, from = 0, to = x.length): number {
  let sum = 0
  for (let i = Math.max(0, from); i < Math.min(to, x.length); i++) sum += x[i]! * x[i]!
  return sum
}

export const pairEnergy = (pair: Stereo, from?: number, to?: number) =>
  energy(pair.left, from, to) + energy(pair.right, from, to)

export const surroundEnergy = (five: Five, from?: number, to?: number) =>
  energy(five.leftSurround, from, to) + energy(five.rightSurround, from, to)

export const mainsOf = (five: Five): readonly Samples[] => [
  five.left,
  five.right,
  five.centre,
  five.leftSurround,
  five.rightSurround,
]

export function energyOfFive(five: Five, from = 0, to = five.left.length): number {
  return mainsOf(five).reduce((sum, channel) => sum + energy(channel, from, to), 0)
}

export function addFives(fives: readonly Five[]): Five {
  const add = <T extends Samples>(of: (five: Five) => T): T => {
    const sum = of(fives[0]!).slice() as T
    for (const five of fives.slice(1)) {
      const plane = of(five)
      for (let i = 0; i < sum.length; i++) sum[i] = sum[i]! + plane[i]!
    }
    return sum
  }
  return {
    left: add((five) => five.left),
    right: add((five) => five.right),
    centre: add((five) => five.centre),
    leftSurround: add((five) => five.leftSurround),
    rightSurround: add((five) => five.rightSurround),
    lfe: null,
  }
}

/** Gains of L, R, C, Ls and Rs. */
export type Balance = readonly [
  left: number,
  right: number,
  centre: number,
  leftSurround: number,
  rightSurround: number,
]

/** Lo and Ro of the five, each channel at its gain. @source ITU-R BS.775-4 Table 2 */
export function foldDown(five: Five, [left, right, centre, leftSurround, rightSurround]: Balance): Stereo {
  const side = (front: Samples, surround: Samples, frontGain: number, surroundGain: number) =>
    Float64Array.from(
      front,
      (x, i) => frontGain * x + FOLD_DOWN_K * (centre * five.centre[i]! + surroundGain * surround[i]!),
    )
  return {
    left: side(five.left, five.leftSurround, left, leftSurround),
    right: side(five.right, five.rightSurround, right, rightSurround),
  }
}

/** Correlation at no lag, -1 .. 1. */
export function signedCoherence(a: Samples, b: Samples, from = 0, to = a.length): number {
  let product = 0
  for (let i = from; i < to; i++) product += a[i]! * b[i]!
  return product / Math.sqrt(energy(a, from, to) * energy(b, from, to))
}
