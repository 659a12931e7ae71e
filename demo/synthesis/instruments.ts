import { filtered } from './filters.ts'
import { between, type Random, whiteNoise } from './random.ts'
import { curve, framesOf, SAMPLE_RATE_HZ, shape, sum } from './signal.ts'
import { ring } from './weather.ts'

/** Frequency of a note in semitones from A4 (440 Hz). */
export function pitchHz(semitonesFromA: number): number {
  return 440 * 2 ** (semitonesFromA / 12)
}

/** A struck piano string pair: stretched partials that die the faster the higher they are, and the knock of the hammer. */
export function pianoNote(
  random: Random,
  frequencyHz: number,
  loudness: number,
  durationSeconds: number,
): Float32Array {
  const note = new Float32Array(framesOf(durationSeconds))
  const inharmonicity = 0.00032 * (frequencyHz / 220)
  const strikeAt = 0.123
  for (let n = 1; n <= 24; n++) {
    const partialHz = n * frequencyHz * Math.sqrt(1 + inharmonicity * n * n)
    if (partialHz > 9000) break
    const brightness = Math.exp(-n / (2.2 + 5 * loudness))
    const level = 0.5 * loudness * brightness * Math.abs(Math.sin(Math.PI * n * strikeAt))
    const decaySeconds = 2.4 / (1 + 0.28 * n) / Math.sqrt(frequencyHz / 220)
    ring(note, 0, partialHz * 0.9998, level, decaySeconds)
    ring(note, 0, partialHz * 1.0003, level * 0.6, decaySeconds * 1.7)
  }
  const knock = filtered(whiteNoise(random, framesOf(0.06)), 'band', 320, 1.5)
  shape(knock, (seconds) => 0.16 * loudness * Math.exp(-seconds / 0.008))
  const release = curve([0, 1], [durationSeconds - 0.12, 1], [durationSeconds, 0])
  return shape(sum(note, knock), release)
}

const TABLE_SIZE = 2048

/** One period of a tone whose harmonics fall off as asked; none of them is above `highestHz`. */
function periodOf(frequencyHz: number, harmonicLevel: (n: number) => number, highestHz: number): Float32Array {
  const table = new Float32Array(TABLE_SIZE + 1)
  for (let n = 1; n * frequencyHz < highestHz; n++) {
    const level = harmonicLevel(n)
    for (let i = 0; i <= TABLE_SIZE; i++) table[i] = table[i] + level * Math.sin((2 * Math.PI * n * i) / TABLE_SIZE)
  }
  return table
}

type Vibrato = { readonly rateHz: number; readonly depth: number }

/** Reads a period over and over, with a start phase and a vibrato that sets in slowly. */
function played(table: Float32Array, frequencyHz: number, durationSeconds: number, phase: number, vibrato: Vibrato) {
  const note = new Float32Array(framesOf(durationSeconds))
  const stepFrames = 32
  let at = phase * TABLE_SIZE
  for (let start = 0; start < note.length; start += stepFrames) {
    const seconds = start / SAMPLE_RATE_HZ
    const depth = vibrato.depth * Math.min(1, seconds / 0.6)
    const speed = frequencyHz * (1 + depth * Math.sin(2 * Math.PI * (vibrato.rateHz * seconds + phase)))
    const increment = (TABLE_SIZE * speed) / SAMPLE_RATE_HZ
    const end = Math.min(start + stepFrames, note.length)
    for (let f = start; f < end; f++) {
      const index = Math.floor(at)
      const left = table[index]
      note[f] = left + (table[index + 1] - left) * (at - index)
      at += increment
      if (at >= TABLE_SIZE) at -= TABLE_SIZE
    }
  }
  return note
}

/** A string section: four players, never quite together, with a slow bow. */
export function stringsNote(
  random: Random,
  frequencyHz: number,
  loudness: number,
  durationSeconds: number,
): Float32Array {
  const table = periodOf(frequencyHz, (n) => Math.exp(-n / 16) / n, 7500)
  const players = Array.from({ length: 4 }, () => {
    const detuned = frequencyHz * between(random, 0.9975, 1.0025)
    return played(table, detuned, durationSeconds, random(), { rateHz: between(random, 4.9, 5.9), depth: 0.0035 })
  })
  const bow = curve(
    [0, 0],
    [0.35, 0.8],
    [0.5 * durationSeconds, 1],
    [durationSeconds - 0.5, 0.75],
    [durationSeconds, 0],
  )
  const body = filtered(sum(...players), 'low', 1400 + 3200 * loudness)
  return shape(body, (seconds) => 0.16 * loudness * bow(seconds))
}

/** A brass desk of two players: the tone brightens as it grows, and speaks a little late and from below. */
export function brassNote(
  random: Random,
  frequencyHz: number,
  loudness: number,
  durationSeconds: number,
): Float32Array {
  const dark = periodOf(frequencyHz, (n) => Math.exp(-n / 3.2), 9000)
  const bright = periodOf(frequencyHz, (n) => Math.exp(-n / 9) * (n < 3 ? 0.8 : 1), 12000)
  const swell = curve(
    [0, 0],
    [0.035, 0.85],
    [0.09, 1],
    [0.55 * durationSeconds, 0.8],
    [durationSeconds - 0.05, 0.7],
    [durationSeconds, 0],
  )
  const players = [between(random, 0.9965, 0.9995), between(random, 1.0005, 1.003)].map((detune) => {
    const vibrato = { rateHz: 5.2, depth: 0.002 }
    const phase = random()
    const low = played(dark, frequencyHz * detune, durationSeconds, phase, vibrato)
    const high = played(bright, frequencyHz * detune, durationSeconds, phase, vibrato)
    return sum(
      shape(low, (seconds) => 0.5 * swell(seconds)),
      shape(high, (seconds) => 0.45 * loudness * swell(seconds) ** 2.5),
    )
  })
  return shape(sum(...players), () => 0.2 * loudness)
}

/** A big drum, hit in the open air. */
export function bassDrum(random: Random, loudness: number): Float32Array {
  const drum = new Float32Array(framesOf(0.9))
  let phase = 0
  for (let f = 0; f < drum.length; f++) {
    const seconds = f / SAMPLE_RATE_HZ
    phase += (2 * Math.PI * (52 + 46 * Math.exp(-seconds / 0.03))) / SAMPLE_RATE_HZ
    drum[f] = Math.sin(phase) * Math.exp(-seconds / 0.17)
  }
  const beater = shape(
    filtered(whiteNoise(random, framesOf(0.05)), 'low', 900),
    (seconds) => 0.7 * Math.exp(-seconds / 0.007),
  )
  return shape(sum(drum, beater), () => loudness)
}

/** A side drum with its snares. */
export function sideDrum(random: Random, loudness: number): Float32Array {
  const snares = filtered(filtered(whiteNoise(random, framesOf(0.25)), 'high', 1300), 'low', 8500)
  shape(snares, (seconds) => 0.5 * Math.exp(-seconds / 0.05))
  ring(snares, 0, 186, 0.4, 0.04)
  ring(snares, 0, 331, 0.25, 0.03)
  return shape(snares, () => loudness)
}

/** A pair of clashed cymbals. */
export function cymbals(random: Random, loudness: number): Float32Array {
  const clash = filtered(whiteNoise(random, framesOf(2.2)), 'high', 4200)
  shape(clash, (seconds) => 0.4 * Math.exp(-seconds / 0.45))
  for (let partial = 0; partial < 40; partial++)
    ring(clash, 0, between(random, 900, 11000), between(random, 0.006, 0.03), between(random, 0.2, 0.9))
  return shape(clash, () => loudness)
}
