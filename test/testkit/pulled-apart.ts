// What is heard of an upmix when somebody changes the balance of its channels, as every mix room and every home may.
import { transform } from '../../src/dsp/fft.reference.ts'
import { type Balance, db, energy, type Five, foldDown, pairEnergy } from './five-channels.ts'
import type { Stereo } from './mixes.ts'
import { RATE } from './mixes-players.ts'

const PLUS_3_DB = 10 ** (3 / 20)
const MINUS_6_DB = 10 ** (-6 / 20)
const PLUS_6_DB = 10 ** (6 / 20)

/** The ways in which the channels are pulled apart. All of them but the last leave dialogue to be heard. @source ours */
export const BALANCES = {
  'C +3 dB': [1, 1, PLUS_3_DB, 1, 1],
  'C -6 dB': [1, 1, MINUS_6_DB, 1, 1],
  'Ls, Rs +6 dB': [1, 1, 1, PLUS_6_DB, PLUS_6_DB],
  'L muted': [0, 1, 1, 1, 1],
  'R muted': [1, 0, 1, 1, 1],
  'Ls muted': [1, 1, 1, 0, 1],
  'Rs muted': [1, 1, 1, 1, 0],
  'C muted': [1, 1, 0, 1, 1],
} as const satisfies Record<string, Balance>

export type BalanceName = keyof typeof BALANCES

export type PulledApart = {
  /**
   * Dialogue against artefacts in Lo and Ro, dB: the dialogue that is left, one gain for both, over the rest. With C
   * muted nothing is left to be clean; there it is the dialogue of the master over all that still sounds of it.
   */
  readonly cleannessDb: number
  /** How much the level of the dialogue sways in its bands, dB; null with C muted. */
  readonly swayDb: number | null
}

/** What becomes of the dialogue in the Lo/Ro of each changed balance. */
export function pulledApart(dialogue: Stereo, sent: Five): Readonly<Record<BalanceName, PulledApart>> {
  const into = bandPowers(dialogue)
  const judged = (name: BalanceName): PulledApart => {
    const heard = foldDown(sent, BALANCES[name])
    if (name === 'C muted') return { cleannessDb: db(pairEnergy(dialogue) / pairEnergy(heard)), swayDb: null }
    return { cleannessDb: cleannessDb(heard, dialogue), swayDb: swayDb(bandPowers(heard), into) }
  }
  const names = Object.keys(BALANCES) as BalanceName[]
  return Object.fromEntries(names.map((name) => [name, judged(name)])) as Record<BalanceName, PulledApart>
}

/**
 * Scale-invariant signal-to-distortion ratio of two tracks, one scale for both.
 * @source Le Roux et al., SDR - half-baked or well done? (ICASSP 2019)
 */
function cleannessDb(heard: Stereo, ideal: Stereo): number {
  const product = (a: Float64Array, b: Float64Array) => a.reduce((sum, x, i) => sum + x * b[i]!, 0)
  const whole = pairEnergy(ideal)
  const scale = (product(heard.left, ideal.left) + product(heard.right, ideal.right)) / whole
  const rest = (a: Float64Array, b: Float64Array) => energy(a.map((x, i) => x - scale * b[i]!))
  return db((scale * scale * whole) / (rest(heard.left, ideal.left) + rest(heard.right, ideal.right)))
}

const FRAME = 1024
const HOP = 512
const HANN = Float64Array.from({ length: FRAME }, (_, i) => Math.sin((Math.PI * i) / FRAME) ** 2)
/** Third-octave bands. @source IEC 61260-1 (base ten) */
const BANDS_HZ = Array.from({ length: 19 }, (_, i) => 10 ** (2.1 + i / 10))
/** Sway slower than 2 Hz is a change of level, faster than 20 Hz a change of timbre. @source ours */
const SLOWEST_HZ = 2
const FASTEST_HZ = 20
/** Tiles so far below the loudest of their band are not heard beside it. @source ours */
const RANGE_DB = 30

/**
 * Warble: how much a process makes the level of a sound sway. In each third-octave band from 125 Hz to 8 kHz the level
 * of what is heard minus that of the input, every 10.7 ms, is kept from 2 to 20 Hz; of that the RMS, each moment weighted
 * by the power of the input. 0: each band has one gain all along. A sinusoidal sway of m % of the amplitude gives
 * 0.061 m dB; one of 4 % at 4 Hz (0.25 dB) is just audible on steady noise.
 * @source ours; the threshold from Fastl and Zwicker, Psychoacoustics, from memory
 */
function swayDb(out: BandPowers, into: BandPowers): number {
  let sum = 0
  let total = 0
  for (const [band, powers] of into.entries()) {
    const least = powers.reduce((most, power) => Math.max(most, power), 0) * 10 ** (-RANGE_DB / 10)
    if (least === 0) continue
    const gains = powers.map((power, i) => db((out[band]![i]! + least / 100) / (power + least / 100)))
    const sway = difference(mean(gains, RATE / HOP / FASTEST_HZ / 2), mean(gains, RATE / HOP / SLOWEST_HZ / 2))
    for (const [i, power] of powers.entries()) {
      if (power < least) continue
      sum += power * sway[i]! ** 2
      total += power
    }
  }
  return Math.sqrt(sum / total)
}

function difference(a: readonly number[], b: readonly number[]): number[] {
  return a.map((x, i) => x - b[i]!)
}

/** Hann-weighted mean over `half` values to both sides, over fewer at the ends. */
function mean(values: readonly number[], half: number): number[] {
  const reach = Math.floor(half)
  const weights = Array.from(
    { length: 2 * reach + 1 },
    (_, i) => Math.cos((Math.PI * (i - reach)) / (2 * half + 2)) ** 2,
  )
  return values.map((_, at) => {
    let sum = 0
    let total = 0
    for (const [i, weight] of weights.entries()) {
      const value = values[at + i - reach]
      if (value === undefined) continue
      sum += weight * value
      total += weight
    }
    return sum / total
  })
}

/** By band and then by frame. */
type BandPowers = readonly (readonly number[])[]

/** Powers of both tracks together. */
function bandPowers(pair: Stereo): BandPowers {
  const powers: number[][] = BANDS_HZ.map(() => [])
  const edge = 10 ** 0.05
  for (let from = 0; from + FRAME <= pair.left.length; from += HOP) {
    const window = (x: Float64Array) => HANN.map((weight, i) => weight * x[from + i]!)
    // Left and right as one complex signal: |Z(k)|^2 + |Z(-k)|^2 is twice the power of both.
    const bins = transform(window(pair.left), window(pair.right))
    const power = (k: number) =>
      bins.re[k]! ** 2 + bins.im[k]! ** 2 + bins.re[FRAME - k]! ** 2 + bins.im[FRAME - k]! ** 2
    for (const [band, hz] of BANDS_HZ.entries()) {
      const [low, high] = [hz / edge, hz * edge].map((bound) => Math.round((bound * FRAME) / RATE)) as [number, number]
      let sum = 0
      for (let k = Math.max(1, low); k < Math.max(low + 1, high); k++) sum += power(k)
      powers[band]!.push(sum)
    }
  }
  return powers
}
