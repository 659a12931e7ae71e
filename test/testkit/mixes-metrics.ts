import {
  defaultSettings,
  FOLD_DOWN_K,
  segmentAt,
  steadyUpmix,
  UPMIX_PARAMETERS,
  type UpmixSettings,
} from '../../src/domain/index.ts'
import { transform } from '../../src/dsp/fft.reference.ts'
import { type Kernels, writeFronts } from '../../src/dsp/index.ts'
import { upmixSegment } from '../../src/engine/render/index.ts'
import { type Stereo, sourceOf } from './mixes.ts'
import { RATE } from './mixes-players.ts'
import { type MixName, type Stem, type StemSet, stemsOf, summed } from './mixes-stems.ts'

/** The five channels that a sound becomes; the LFE is off. */
export type Five = {
  readonly left: Float64Array
  readonly right: Float64Array
  readonly centre: Float32Array
  readonly leftSurround: Float32Array
  readonly rightSurround: Float32Array
}

/** What is said of one mix; null where the mix has no such sound. Levels in dB are energies against the sound's own. */
export type UpmixFigures = {
  readonly dialogueInCentrePercent: number | null
  readonly dialogueCleannessDb: number | null
  readonly dialogueInSurroundsDb: number | null
  readonly effectsInCentreDb: number | null
  readonly ambienceInSurroundsDb: number | null
  readonly ambienceInCentreDb: number | null
  readonly surroundAmbientToDirectDb: number | null
  readonly inputAmbientToDirectDb: number | null
  readonly imageErrorMeanDegrees: number | null
  readonly imageErrorMaxDegrees: number | null
  readonly preEchoDb: number | null
  readonly surroundCoherence: number
  readonly unevenness: number | null
}

/** Sends `stem` through the weights that `mix` gives. */
export function throughWeightsOf(
  kernels: Kernels,
  mix: Stereo,
  stem: Stereo,
  settings: UpmixSettings = defaultSettings(UPMIX_PARAMETERS),
): Five {
  const mark = kernels.arena.mark()
  const source = sourceOf(mix, RATE)
  const segment = segmentAt(0, source.frameCount, RATE)
  const out = upmixSegment(kernels, source, segment, steadyUpmix(settings), { through: sourceOf(stem, RATE) })
  writeFronts(kernels, out, out, settings.frontSpread, out)
  const five = {
    left: out.left.slice(),
    right: out.right.slice(),
    centre: out.centre.slice(),
    leftSurround: out.leftSurround.slice(),
    rightSurround: out.rightSurround.slice(),
  }
  kernels.arena.release(mark)
  return five
}

/** Every stem of a mix through its weights, and what that says. */
export function judgeMix(kernels: Kernels, set: StemSet, name: MixName): UpmixFigures {
  const stems = stemsOf(set, name)
  const mix = summed(stems)
  const sent = new Map(stems.map((stem) => [stem.name, throughWeightsOf(kernels, mix, stem)]))
  const of = (stem: Stem) => sent.get(stem.name)!
  const dialogue = stems.find((stem) => stem.name === 'dialogue')
  const effects = stems.filter((stem) => stem.name.startsWith('effects'))
  const ambience = stems.filter((stem) => stem.isAmbience)
  const direct = stems.filter((stem) => !stem.isAmbience && stem.degrees !== null)
  const ambienceIn = summed(ambience)
  const ambienceOut = addFives(ambience.map(of))
  const directOut = direct.length > 0 ? addFives(direct.map(of)) : null
  const whole = addFives(stems.map(of))
  const images = direct.map((stem) => imageErrorDegrees(of(stem), stem.degrees!))
  return {
    dialogueInCentrePercent: dialogue ? (100 * energy(of(dialogue).centre)) / energyOfFive(of(dialogue)) : null,
    dialogueCleannessDb: dialogue ? cleannessDb(of(dialogue).centre, dialogue) : null,
    dialogueInSurroundsDb: dialogue ? db(surroundEnergy(of(dialogue)) / pairEnergy(dialogue)) : null,
    effectsInCentreDb: effects.length
      ? db(energy(addFives(effects.map(of)).centre) / pairEnergy(summed(effects)))
      : null,
    ambienceInSurroundsDb: ambience.length ? db(surroundEnergy(ambienceOut) / pairEnergy(ambienceIn)) : null,
    ambienceInCentreDb: ambience.length ? db(energy(ambienceOut.centre) / pairEnergy(ambienceIn)) : null,
    surroundAmbientToDirectDb:
      ambience.length && directOut ? db(surroundEnergy(ambienceOut) / surroundEnergy(directOut)) : null,
    inputAmbientToDirectDb:
      ambience.length && directOut ? db(pairEnergy(ambienceIn) / pairEnergy(summed(direct))) : null,
    imageErrorMeanDegrees: images.length ? images.reduce((sum, degrees) => sum + degrees, 0) / images.length : null,
    imageErrorMaxDegrees: images.length ? Math.max(...images) : null,
    preEchoDb: effects.length ? preEchoDb(addFives(effects.map(of)), set.onsets) : null,
    surroundCoherence: coherence(whole.leftSurround, whole.rightSurround),
    unevenness: ambience.length ? unevenness(ambienceOut, ambienceIn) : null,
  }
}

type Samples = Float32Array | Float64Array

export function db(ratio: number): number {
  return 10 * Math.log10(ratio)
}

export function energy(x: Samples, from = 0, to = x.length): number {
  let sum = 0
  for (let i = Math.max(0, from); i < Math.min(to, x.length); i++) sum += x[i]! * x[i]!
  return sum
}

const pairEnergy = (pair: Stereo) => energy(pair.left) + energy(pair.right)
const surroundEnergy = (five: Five) => energy(five.leftSurround) + energy(five.rightSurround)
const channels = (five: Five): readonly Samples[] => [
  five.left,
  five.right,
  five.centre,
  five.leftSurround,
  five.rightSurround,
]

function energyOfFive(five: Five, from = 0, to = five.left.length): number {
  return channels(five).reduce((sum, channel) => sum + energy(channel, from, to), 0)
}

function addFives(fives: readonly Five[]): Five {
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
  }
}

/**
 * Scale-invariant signal-to-distortion ratio of the dialogue in the centre against k (l + r).
 * @source Le Roux et al., SDR - half-baked or well done? (ICASSP 2019)
 */
function cleannessDb(centre: Float32Array, dialogue: Stereo): number {
  const ideal = dialogue.left.map((l, i) => FOLD_DOWN_K * (l + dialogue.right[i]!))
  let product = 0
  for (let i = 0; i < ideal.length; i++) product += ideal[i]! * centre[i]!
  const scale = product / energy(ideal)
  const rest = ideal.map((x, i) => centre[i]! - scale * x)
  return db((scale * scale * energy(ideal)) / energy(rest))
}

/** Directions of the loudspeakers, + = left. @source ITU-R BS.775-4 (30 and 110 degrees) */
const SPEAKER_DEGREES = [30, -30, 0, 110, -110] as const
const IMAGE_BLOCK = 0.05 * RATE

/**
 * How far a sound stands from the place where it was panned: the angle of the energy vector minus that place, energy-weighted
 * mean over blocks of 50 ms. Sways to both sides cancel: this is where the sound seems to stand, not how much it wanders.
 */
function imageErrorDegrees(five: Five, place: (seconds: number) => number): number {
  let error = 0
  let total = 0
  for (let from = 0; from < five.left.length; from += IMAGE_BLOCK) {
    let x = 0
    let y = 0
    let power = 0
    channels(five).forEach((channel, i) => {
      const part = energy(channel, from, from + IMAGE_BLOCK)
      const angle = (SPEAKER_DEGREES[i]! * Math.PI) / 180
      x += part * Math.cos(angle)
      y += part * Math.sin(angle)
      power += part
    })
    if (power === 0) continue
    const found = (Math.atan2(y, x) * 180) / Math.PI
    error += power * (found - place((from + IMAGE_BLOCK / 2) / RATE))
    total += power
  }
  return Math.abs(error / total)
}

/** Two hard clicks, left and then right 3 ms later: energy 30 .. 1 ms before the first over that of 100 ms after it. */
export function clickPreEchoDb(kernels: Kernels): number {
  const clicks: Stereo = { left: new Float64Array(RATE), right: new Float64Array(RATE) }
  const at = RATE / 2
  clicks.left[at] = 0.5
  clicks.right[at + 144] = 0.5
  return preEchoDb(throughWeightsOf(kernels, clicks, clicks), [at])
}

/** Energy 30 .. 1 ms before the onsets over that of the 100 ms after them, in all five channels. */
function preEchoDb(effects: Five, onsets: readonly number[]): number {
  let before = 0
  let after = 0
  for (const onset of onsets) {
    before += energyOfFive(effects, onset - 0.03 * RATE, onset - 0.001 * RATE)
    after += energyOfFive(effects, onset, onset + 0.1 * RATE)
  }
  return db(before / after)
}

function coherence(a: Float32Array, b: Float32Array): number {
  let product = 0
  for (let i = 0; i < a.length; i++) product += a[i]! * b[i]!
  return product / Math.sqrt(energy(a) * energy(b))
}

/**
 * Isolated peaks that weights carve into the surrounds: log of the mean kurtosis of a bin's power over
 * time, surrounds against input. 0: as even as the input.
 * @source after Torcoli, WASPAA 2019 (plain kurtosis ratio)
 */
function unevenness(ambienceOut: Five, ambienceIn: Stereo): number {
  return Math.log(kurtosis(ambienceOut.leftSurround) / kurtosis(ambienceIn.left))
}

function kurtosis(x: Samples): number {
  const [n, hop, first, last] = [1024, 512, 10, 400]
  const frames: Float64Array[] = []
  for (let from = 0; from + n <= x.length; from += hop) {
    const re = Float64Array.from({ length: n }, (_, i) => x[from + i]! * Math.sin((Math.PI * i) / n) ** 2)
    const bins = transform(re, new Float64Array(n))
    frames.push(
      Float64Array.from({ length: last - first }, (_, b) => bins.re[first + b]! ** 2 + bins.im[first + b]! ** 2),
    )
  }
  let sum = 0
  for (let b = 0; b < last - first; b++) {
    const mean = frames.reduce((total, frame) => total + frame[b]!, 0) / frames.length
    const deviations = frames.map((frame) => frame[b]! / mean - 1)
    const second = deviations.reduce((total, v) => total + v ** 2, 0)
    const fourth = deviations.reduce((total, v) => total + v ** 4, 0)
    sum += (frames.length * fourth) / second ** 2
  }
  return sum / (last - first)
}
