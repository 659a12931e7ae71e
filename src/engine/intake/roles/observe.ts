import { LAYOUTS, powerToDb, type Role } from '../../../domain/index.ts'
import { FourierTransform, type Kernels } from '../../../dsp/index.ts'
import { ChannelSpectra, transformLength } from '../channel-spectra.ts'
import type { Stretch } from '../detector.ts'
import { Coherences } from './coherences.ts'
import type { PairEvidence, RolesEvidence } from './evidence.ts'
import { LagFinder } from './lag-finder.ts'

const WINDOW_SECONDS = 0.17
const LFE_END_HZ = 250
const SPEECH_FROM_HZ = 300
const SPEECH_TO_HZ = 3400
const LOWEST_DBFS = -120

/** Energies, coherences, lags and speech-band levels of the channels of one segment. */
export function observeRoles(kernels: Kernels, stretch: Stretch): RolesEvidence {
  const { planes, leadFrames, frameCount, sampleRateHz, layout } = stretch
  const roles = LAYOUTS[layout]
  const mark = kernels.arena.mark()
  const length = transformLength(WINDOW_SECONDS, sampleRateHz)
  const hzPerBin = sampleRateHz / length
  const spectra = new ChannelSpectra(kernels, length)
  const lags = new LagFinder(new FourierTransform(kernels, length), kernels, sampleRateHz)
  const pairs = pairsOf(roles)
  const coherences = new Coherences(roles.length, pairs, hzPerBin, spectra.binCount)
  const windowCount = Math.floor(frameCount / length)
  const bands = new ChannelBands(roles.length, windowCount, hzPerBin)
  const buffers = Array.from({ length: Math.ceil(roles.length / 2) }, () => spectra.createSpectra())
  const res = roles.map((_, channel) => (channel % 2 === 0 ? buffers[channel >> 1]!.aRe : buffers[channel >> 1]!.bRe))
  const ims = roles.map((_, channel) => (channel % 2 === 0 ? buffers[channel >> 1]!.aIm : buffers[channel >> 1]!.bIm))
  for (let window = 0; window < windowCount; window++) {
    for (let channel = 0; channel < roles.length; channel += 2) {
      const from = leadFrames + window * length
      spectra.transform(planes[channel]!, planes[channel + 1] ?? null, from, buffers[channel >> 1]!)
    }
    bands.add(window, res, ims)
    coherences.add(res, ims)
  }
  const own = planes.map((plane) => plane.subarray(leadFrames, leadFrames + frameCount))
  const evidence: RolesEvidence = {
    frameCount,
    energies: own.map((plane) => dot(plane, plane)),
    highShares: bands.highShares(),
    pairs: pairs.map(([a, b], index): PairEvidence => {
      const lag = lags.find(coherences.cross(index))
      return { a, b, product: dot(own[a]!, own[b]!), ...coherences.coherence(index), ...lag }
    }),
    derived: roles.flatMap((role, channel) =>
      role === 'L' || role === 'R' || role === 'LFE' ? [] : [{ channel, share: coherences.derivedShare(channel) }],
    ),
    speechBand: bands.speechLevels,
    windowFrames: length,
  }
  kernels.arena.release(mark)
  return evidence
}

/** Every pair of channels. */
function pairsOf(roles: readonly Role[]): (readonly [number, number])[] {
  return roles.flatMap((_, a) => roles.slice(a + 1).map((_, offset) => [a, a + 1 + offset] as const))
}

function dot(a: Float32Array, b: Float32Array): number {
  let sum = 0
  for (let n = 0; n < a.length; n++) sum += a[n]! * b[n]!
  return sum
}

class ChannelBands {
  readonly speechLevels: Uint8Array
  readonly #low: Float64Array
  readonly #high: Float64Array
  readonly #windowCount: number
  readonly #hzPerBin: number

  constructor(channelCount: number, windowCount: number, hzPerBin: number) {
    this.speechLevels = new Uint8Array(channelCount * windowCount)
    this.#low = new Float64Array(channelCount)
    this.#high = new Float64Array(channelCount)
    this.#windowCount = windowCount
    this.#hzPerBin = hzPerBin
  }

  add(window: number, res: readonly Float32Array[], ims: readonly Float32Array[]): void {
    const split = Math.round(LFE_END_HZ / this.#hzPerBin)
    const [from, to] = [Math.round(SPEECH_FROM_HZ / this.#hzPerBin), Math.round(SPEECH_TO_HZ / this.#hzPerBin)]
    res.forEach((re, channel) => {
      const im = ims[channel]!
      let low = 0
      let high = 0
      let speech = 0
      for (let k = 1; k < re.length; k++) {
        const power = re[k]! * re[k]! + im[k]! * im[k]!
        if (k < split) low += power
        else high += power
        if (k >= from && k < to) speech += power
      }
      this.#low[channel]! += low
      this.#high[channel]! += high
      const level = Math.max(0, Math.min(255, Math.round(2 * (powerToDb(speech + 1e-13) - LOWEST_DBFS))))
      this.speechLevels[channel * this.#windowCount + window] = level
    })
  }

  highShares(): number[] {
    return Array.from(this.#high, (high, channel) => (high > 0 ? high / (high + this.#low[channel]!) : 0))
  }
}
