import { FOLD_DOWN_K, type UpmixSettings } from '../../src/domain/index.ts'
import { transform } from '../../src/dsp/fft.reference.ts'
import type { Kernels } from '../../src/dsp/index.ts'
import {
  addFives,
  db,
  energy,
  energyOfFive,
  type Five,
  mainsOf,
  pairEnergy,
  planFor,
  type Samples,
  signedCoherence,
  surroundEnergy,
  throughWeightsOf,
} from './five-channels.ts'
import { kWeighted } from './k-weighted.ts'
import type { Stereo } from './mixes.ts'
import { RATE } from './mixes-players.ts'
import { type MixName, type Stem, type StemSet, stemsOf, summed } from './mixes-stems.ts'
import { type BalanceName, type PulledApart, pulledApart } from './pulled-apart.ts'

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
  readonly applauseInSurroundsDb: number | null
  readonly surroundCoherence: number
  readonly worstSurroundCoherence: number | null
  readonly unevenness: number | null
  readonly pulledApartDb: number | null
  readonly centreMutedDb: number | null
  readonly swayDb: number | null
}

export type JudgedMix = UpmixFigures & {
  /** The dialogue in each changed balance; null without dialogue. */
  readonly balances: Readonly<Record<BalanceName, PulledApart>> | null
}

/** Every stem of a mix through its weights, and what that says; with default settings but for those given. */
export function judgeMix(
  kernels: Kernels,
  set: StemSet,
  name: MixName,
  settings: Partial<UpmixSettings> = {},
): JudgedMix {
  const stems = stemsOf(set, name)
  const mix = summed(stems)
  const plan = planFor(kernels, mix, settings)
  const sent = new Map(stems.map((stem) => [stem.name, throughWeightsOf(kernels, mix, stem, plan)]))
  const of = (stem: Stem) => sent.get(stem.name)!
  const dialogue = stems.find((stem) => stem.name === 'dialogue')
  const whole = addFives(stems.map(of))
  return {
    ...dialogueFigures(dialogue, dialogue && of(dialogue)),
    ...effectFigures(stems, of, set.onsets),
    ...ambienceFigures(stems, of),
    ...imageFigures(stems, of),
    surroundCoherence: signedCoherence(whole.leftSurround, whole.rightSurround),
    worstSurroundCoherence: worstCoherence(whole),
  }
}

function dialogueFigures(dialogue: Stem | undefined, sent: Five | undefined) {
  if (dialogue === undefined || sent === undefined) {
    return {
      dialogueInCentrePercent: null,
      dialogueCleannessDb: null,
      dialogueInSurroundsDb: null,
      pulledApartDb: null,
      centreMutedDb: null,
      swayDb: null,
      balances: null,
    }
  }
  const balances = pulledApart(dialogue, sent)
  const { 'C muted': withoutCentre, ...others } = balances
  const heard = Object.values(others)
  return {
    dialogueInCentrePercent: (100 * energy(sent.centre)) / energyOfFive(sent),
    dialogueCleannessDb: cleannessDb(sent.centre, dialogue),
    dialogueInSurroundsDb: db(surroundEnergy(sent) / pairEnergy(dialogue)),
    pulledApartDb: Math.min(...heard.map((each) => each.cleannessDb)),
    centreMutedDb: withoutCentre.cleannessDb,
    swayDb: Math.max(...heard.map((each) => each.swayDb ?? 0)),
    balances,
  }
}

function effectFigures(stems: readonly Stem[], of: (stem: Stem) => Five, onsets: readonly number[]) {
  const effects = stems.filter((stem) => stem.name.startsWith('effects'))
  const applause = stems.find((stem) => stem.name === 'applause')
  const sent = effects.length ? addFives(effects.map(of)) : null
  return {
    effectsInCentreDb: sent ? db(energy(sent.centre) / pairEnergy(summed(effects))) : null,
    preEchoDb: sent ? preEchoDb(sent, onsets) : null,
    applauseInSurroundsDb: applause ? db(surroundEnergy(of(applause)) / pairEnergy(applause)) : null,
  }
}

const hasPlace = (stem: Stem) => !stem.isAmbience && stem.degrees !== null

function ambienceFigures(stems: readonly Stem[], of: (stem: Stem) => Five) {
  const ambience = stems.filter((stem) => stem.isAmbience)
  const direct = stems.filter(hasPlace)
  const sent = ambience.length ? addFives(ambience.map(of)) : null
  const input = ambience.length ? summed(ambience) : null
  const beside = direct.length && sent && input ? { sent: addFives(direct.map(of)), input: summed(direct) } : null
  return {
    ambienceInSurroundsDb: sent && input ? db(surroundEnergy(sent) / pairEnergy(input)) : null,
    ambienceInCentreDb: sent && input ? db(energy(sent.centre) / pairEnergy(input)) : null,
    surroundAmbientToDirectDb: sent && beside ? db(surroundEnergy(sent) / surroundEnergy(beside.sent)) : null,
    inputAmbientToDirectDb: input && beside ? db(pairEnergy(input) / pairEnergy(beside.input)) : null,
    unevenness: sent && input ? unevenness(sent, input) : null,
  }
}

function imageFigures(stems: readonly Stem[], of: (stem: Stem) => Five) {
  const errors = stems.filter(hasPlace).map((stem) => imageErrorDegrees(of(stem), stem.degrees!))
  return {
    imageErrorMeanDegrees: errors.length ? errors.reduce((sum, degrees) => sum + degrees, 0) / errors.length : null,
    imageErrorMaxDegrees: errors.length ? Math.max(...errors) : null,
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
    mainsOf(five).forEach((channel, i) => {
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
  // Two clicks alone are too little to tell a matrix from stereo.
  const plan = planFor(kernels, clicks, { kind: 'stereo' })
  return preEchoDb(throughWeightsOf(kernels, clicks, clicks, plan), [at])
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

/** Surrounds that are hardly there are not judged. @source common practice: room tone lies below */
const LEAST_SURROUND_LKFS = -50
/** Surrounds count by 1.41. @source ITU-R BS.1770-5 Table 3 */
const SURROUND_WEIGHT = 1.41

/** The lowest signed coherence of Ls and Rs in any 3 s, every 0.5 s, in which they are above -50 LKFS together. */
function worstCoherence({ leftSurround, rightSurround }: Five): number | null {
  const weighted = [kWeighted(leftSurround), kWeighted(rightSurround)]
  const found: number[] = []
  for (let from = 0; from + 3 * RATE <= leftSurround.length; from += RATE / 2) {
    const to = from + 3 * RATE
    const power = weighted.reduce((sum, x) => sum + energy(x, from, to), 0) / (3 * RATE)
    // @source ITU-R BS.1770-5 Annex 1, equation 2
    if (-0.691 + db(SURROUND_WEIGHT * power) > LEAST_SURROUND_LKFS) {
      found.push(signedCoherence(leftSurround, rightSurround, from, to))
    }
  }
  return found.length ? Math.min(...found) : null
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
