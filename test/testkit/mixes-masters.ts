// What the upmix does with masters that came off tape, with bass, with a change of settings, and with what is no programme.
import {
  defaultSettings,
  steadyUpmix,
  UPMIX_PARAMETERS,
  type UpmixPlan,
  type UpmixSettings,
} from '../../src/domain/index.ts'
import { transform } from '../../src/dsp/fft.reference.ts'
import type { Kernels } from '../../src/dsp/index.ts'
import {
  addFives,
  db,
  energy,
  energyOfFive,
  mainsOf,
  pairEnergy,
  planFor,
  type Samples,
  surroundEnergy,
  throughWeightsOf,
} from './five-channels.ts'
import { noise, type Stereo, stereo } from './mixes.ts'
import { RATE } from './mixes-players.ts'
import { gaussian, powerOfTwoFrom } from './mixes-sound.ts'
import { type StemSet, stemsOf, summed } from './mixes-stems.ts'

/** A track later by so many microseconds, by its phase. */
function delayed(x: Float64Array, microseconds: number): Float64Array {
  const n = powerOfTwoFrom(x.length + RATE)
  const padded = new Float64Array(n)
  padded.set(x)
  const { re, im } = transform(padded, new Float64Array(n))
  for (let k = 0; k < n; k++) {
    const hz = ((k <= n / 2 ? k : k - n) * RATE) / n
    const turn = -2 * Math.PI * hz * microseconds * 1e-6
    const [cos, sin] = [Math.cos(turn), Math.sin(turn)]
    ;[re[k], im[k]] = [re[k]! * cos - im[k]! * sin, re[k]! * sin + im[k]! * cos]
  }
  // The inverse by swapping real and imaginary parts.
  return transform(im, re)
    .im.slice(0, x.length)
    .map((sample) => sample / n)
}

/** Energies of a signal between pairs of frequencies. */
function bandEnergies(x: Samples, bandsHz: readonly (readonly [low: number, high: number])[]): readonly number[] {
  const n = powerOfTwoFrom(x.length)
  const padded = new Float64Array(n)
  padded.set(x)
  const { re, im } = transform(padded, new Float64Array(n))
  return bandsHz.map(([lowHz, highHz]) => {
    let sum = 0
    for (let k = Math.ceil((lowHz * n) / RATE); k < Math.min(n / 2, (highHz * n) / RATE); k++) {
      sum += re[k]! ** 2 + im[k]! ** 2
    }
    return sum
  })
}

/**
 * What a skewed tape head costs: the dialogue above 4 kHz in C with the right track of dialogue + ambience late by so
 * many microseconds, against the same without, dB. @source ours
 */
export function azimuthLossDb(kernels: Kernels, set: StemSet, microseconds: number): number {
  const stems = stemsOf(set, 'dialogue + ambience')
  const dialogue = stems.find(({ name }) => name === 'dialogue')!
  const treble = (late: number) => {
    const skewed = ({ left, right }: Stereo): Stereo => ({ left, right: late === 0 ? right : delayed(right, late) })
    const mix = skewed(summed(stems))
    const { centre } = throughWeightsOf(kernels, mix, skewed(dialogue), planFor(kernels, mix))
    return bandEnergies(centre, [[4000, RATE / 2]])[0]!
  }
  return db(treble(microseconds) / treble(0))
}

export type HissFigures = {
  /** Hiss in Ls + Rs over all of it, in pauses and under speech, dB. */
  readonly inPausesDb: number
  readonly underSpeechDb: number
  /** How much the hiss in all five channels together changes from pause to speech, each loudspeaker by its power, dB. */
  readonly changeOfSumDb: number
  /** How much the hiss in Ls + Rs changes from pause to speech, dB. */
  readonly changeInSurroundsDb: number
}

const HISS_RMS = 1e-3
const SPOKEN_SECONDS = 5
const PAUSE_SECONDS = 3

/** Independent white hiss at -60 dBFS a track under lines of 5 s with 3 s of pause after each. @source ours */
export function hissFigures(kernels: Kernels, set: StemSet): HissFigures {
  const spoken = set.stems.dialogue!.left
  const frameCount = 3 * (SPOKEN_SECONDS + PAUSE_SECONDS) * RATE
  const voice = Float64Array.from({ length: frameCount }, (_, i) => {
    const cycle = Math.floor(i / ((SPOKEN_SECONDS + PAUSE_SECONDS) * RATE))
    const within = i % ((SPOKEN_SECONDS + PAUSE_SECONDS) * RATE)
    return within < SPOKEN_SECONDS * RATE ? (spoken[cycle * SPOKEN_SECONDS * RATE + within] ?? 0) : 0
  })
  const random = gaussian(60)
  const track = () => Float64Array.from({ length: frameCount }, () => HISS_RMS * random())
  const hiss: Stereo = { left: track(), right: track() }
  const mix = summed([{ left: voice, right: voice }, hiss])
  const sent = throughWeightsOf(kernels, mix, hiss, planFor(kernels, mix))
  const [pauses, speech] = partsOf(voice)
  const share = (parts: readonly number[], of: (from: number, to: number) => number) =>
    parts.reduce((sum, from) => sum + of(from, from + BLOCK), 0) /
    parts.reduce((sum, from) => sum + pairEnergy(hiss, from, from + BLOCK), 0)
  const surrounds = (parts: readonly number[]) => db(share(parts, (from, to) => surroundEnergy(sent, from, to)))
  const whole = (parts: readonly number[]) => db(share(parts, (from, to) => energyOfFive(sent, from, to)))
  return {
    inPausesDb: surrounds(pauses),
    underSpeechDb: surrounds(speech),
    changeOfSumDb: Math.abs(whole(speech) - whole(pauses)),
    changeInSurroundsDb: Math.abs(surrounds(speech) - surrounds(pauses)),
  }
}

const BLOCK = RATE / 10
const PAUSE_MARGIN_BLOCKS = 6

/** Blocks of 0.1 s: those 0.6 s and further from any voice, and those in which it stands above -40 dBFS. */
function partsOf(voice: Float64Array): readonly [pauses: readonly number[], speech: readonly number[]] {
  const starts = Array.from({ length: Math.floor(voice.length / BLOCK) }, (_, block) => block * BLOCK)
  const levels = starts.map((from) => db(energy(voice, from, from + BLOCK) / BLOCK))
  const isPause = (block: number) =>
    levels
      .slice(Math.max(0, block - PAUSE_MARGIN_BLOCKS), block + PAUSE_MARGIN_BLOCKS + 1)
      .every((level) => level < -90)
  return [starts.filter((_, block) => isPause(block)), starts.filter((_, block) => levels[block]! > -40)]
}

/** Third octaves from 20 to 200 Hz. @source IEC 61260-1, nominal frequencies */
const BASS_BANDS_HZ = [20, 25, 31.5, 40, 50, 63, 80, 100, 125, 160, 200]

/** The LFE is replayed 10 dB louder in its band. @source ITU-R BS.775-4 clause on the LFE, from memory */
const LFE_REPLAY_GAIN = 10 ** 0.5

/**
 * What one woofer for all channels makes of the bass: L + R + C + Ls + Rs (and the LFE 10 dB up) against l + r, by third
 * octaves from 20 to 200 Hz, dB. Crossovers are left out, since they filter both sides alike. @source ours
 */
export function bassSumDb(
  kernels: Kernels,
  mix: Stereo,
  settings: Partial<UpmixSettings> = {},
): readonly { readonly hz: number; readonly db: number }[] {
  const five = throughWeightsOf(kernels, mix, mix, planFor(kernels, mix, settings))
  const channels = mainsOf(five)
  const sum = Float64Array.from(mix.left, (_, i) => {
    const mains = channels.reduce((total, channel) => total + channel[i]!, 0)
    return mains + LFE_REPLAY_GAIN * (five.lfe?.[i] ?? 0)
  })
  const stereoSum = mix.left.map((x, i) => x + mix.right[i]!)
  const edge = 2 ** (1 / 6)
  const bands = BASS_BANDS_HZ.map((hz) => [hz / edge, hz * edge] as const)
  const [heard, before] = [bandEnergies(sum, bands), bandEnergies(stereoSum, bands)]
  return BASS_BANDS_HZ.map((hz, band) => ({ hz, db: db(heard[band]! / before[band]!) }))
}

/**
 * How much a change in 10 ms spills: steady tones below 2 kHz in both tracks, all settings that glide changed at once;
 * the highest sample above 5 kHz in C, Ls and Rs around the change against that of the steady state, dB. @source ours
 */
export function glideSpillDb(kernels: Kernels): number {
  const tones = [110, 277, 440, 933, 1760]
  const steady = stereo(4 * RATE, (i) => {
    const tone = (offset: number) =>
      tones.reduce((sum, hz, n) => sum + 0.06 * Math.sin((2 * Math.PI * hz * i) / RATE + n + offset * (n % 2)), 0)
    return [tone(0), tone(1.2)]
  })
  const settings = defaultSettings(UPMIX_PARAMETERS)
  const scene = {
    name: null,
    startFrame: 2 * RATE,
    endFrame: 4 * RATE,
    glideInFrames: RATE / 100,
    glideOutFrames: 0,
    settings: { ...settings, centreShare: 0.3, ambienceShare: 0.2 },
  }
  const plan: UpmixPlan = { settings, scenes: [scene] }
  const five = throughWeightsOf(kernels, steady, steady, plan)
  const planes = [five.centre, five.leftSurround, five.rightSurround].map((plane) => highPassed(plane, 5000))
  const peak = (from: number, to: number) =>
    planes.reduce(
      (most, plane) => plane.subarray(from * RATE, to * RATE).reduce((m, x) => Math.max(m, Math.abs(x)), most),
      0,
    )
  return 2 * db(peak(1.9, 2.1) / Math.max(peak(1, 1.8), peak(2.2, 3)))
}

/** Windowed sinc, 511 taps, Blackman: what it lets through of the tones lies below -74 dB. */
function highPassed(x: Samples, cornerHz: number): Float64Array {
  const half = 255
  const taps = Array.from({ length: 2 * half + 1 }, (_, i) => {
    const n = i - half
    const window = 0.42 + 0.5 * Math.cos((Math.PI * n) / half) + 0.08 * Math.cos((2 * Math.PI * n) / half)
    const low = n === 0 ? (2 * cornerHz) / RATE : Math.sin((2 * Math.PI * cornerHz * n) / RATE) / (Math.PI * n)
    return window * ((n === 0 ? 1 : 0) - low)
  })
  return Float64Array.from(x, (_, at) => taps.reduce((sum, tap, i) => sum + tap * (x[at + i - half] ?? 0), 0))
}

/** Bass of music and of the full mix in one woofer, LFE off: the third octave that is furthest from the stereo's, dB. */
export function bassErrorDb(kernels: Kernels, set: StemSet): number {
  const mixes = (['music', 'full'] as const).map((name) => summed(stemsOf(set, name)))
  return Math.max(...mixes.flatMap((mix) => bassSumDb(kernels, mix).map((band) => Math.abs(band.db))))
}

/** What is no programme. */
const HOSTILE: Readonly<Record<string, () => Stereo>> = {
  silence: () => stereo(RATE, () => [0, 0]),
  'clicks left and right': () => stereo(RATE, (i) => [i % 4801 === 0 ? 1 : 0, i % 3001 === 7 ? -1 : 0]),
  DC: () => stereo(RATE, () => [1, 1]),
  'DC, one track': () => stereo(RATE, () => [1, 0]),
  'anti-phase': () => {
    const random = noise(9)
    return stereo(RATE, () => {
      const x = random()
      return [x, -x]
    })
  },
  'full-scale square, both tracks': () => stereo(RATE, (i) => (i % 96 < 48 ? [1, 1] : [-1, -1])),
  'full-scale squares a quarter apart': () => stereo(RATE, (i) => [i % 96 < 48 ? 1 : -1, (i + 24) % 96 < 48 ? 1 : -1]),
  '1 sample': () => stereo(1, () => [0.5, -0.25]),
}

export type HostileFigures = {
  readonly name: string
  readonly isFinite: boolean
  /** Energy of the five channels over that of the tracks, dB; null for silence. */
  readonly energyGainDb: number | null
  /** Largest difference of the fold-down and the tracks, dBFS, before any word is written. */
  readonly lockDbfs: number
}

export function hostileFigures(kernels: Kernels): readonly HostileFigures[] {
  return Object.entries(HOSTILE).map(([name, make]) => {
    const tracks = make()
    const five = throughWeightsOf(kernels, tracks, tracks, steadyUpmix(defaultSettings(UPMIX_PARAMETERS)))
    const input = pairEnergy(tracks)
    return {
      name,
      isFinite: mainsOf(five).every((channel) => channel.every(Number.isFinite)),
      energyGainDb: input === 0 ? null : db(energyOfFive(five) / input),
      lockDbfs: lockErrorDbfs(tracks, addFives([five])),
    }
  })
}

function lockErrorDbfs(tracks: Stereo, five: ReturnType<typeof addFives>): number {
  let worst = 0
  for (let i = 0; i < tracks.left.length; i++) {
    const k = Math.SQRT1_2
    const lo = five.left[i]! + k * five.centre[i]! + k * five.leftSurround[i]!
    const ro = five.right[i]! + k * five.centre[i]! + k * five.rightSurround[i]!
    worst = Math.max(worst, Math.abs(lo - tracks.left[i]!), Math.abs(ro - tracks.right[i]!))
  }
  return worst === 0 ? Number.NEGATIVE_INFINITY : 2 * db(worst)
}
