// Sounds of programmes that look like faults and are none. All made by code at 48 kHz, between -1 and 1.
import { bandPassed, gaussian } from './mixes-sound.ts'
import { seededRandom } from './programmes.ts'

const RATE = 48000
type Sound = Float32Array

function fill(seconds: number, sample: (n: number) => number): Sound {
  return Float32Array.from({ length: seconds * RATE }, (_, n) => sample(n))
}

/** One-pole low pass, in place. */
function darken(sound: Sound, hz: number): Sound {
  const share = 1 - Math.exp((-2 * Math.PI * hz) / RATE)
  let state = 0
  return sound.map((sample) => {
    state += share * (sample - state)
    return state
  })
}

function add(to: Sound, at: number, length: number, sample: (n: number) => number): void {
  for (let n = 0; n < length && at + n < to.length; n++) to[at + n]! += sample(n)
}

/** Shots: an N-wave of a fraction of a millisecond, a blast of noise after it, and the echo of a street. */
export function gunfire(seconds: number, seed = 1): Sound {
  const random = seededRandom(seed)
  const noise = gaussian(seed)
  const out = new Float32Array(seconds * RATE)
  for (let at = RATE / 2; at < out.length; at += Math.round(RATE * (0.08 + 0.5 * random()))) {
    const gain = 0.1 + 0.4 * random()
    add(out, at, 24, (n) => gain * (1 - n / 12))
    for (const [delay, level] of [
      [0, 1],
      [4300, 0.15],
      [9100, 0.08],
    ] as const) {
      add(out, at + delay, RATE / 3, (n) => 0.35 * gain * level * noise() * Math.exp(-n / 1900))
    }
  }
  return out
}

/** Power chords through a hard clipper and a loudspeaker box that passes 90 Hz to 5 kHz. */
export function distortedGuitar(seconds: number): Sound {
  const chord = (n: number) => [82.4, 123.5, 164.8].reduce((sum, hz) => sum + ((((hz * n) / RATE) % 1) - 0.5), 0)
  const driven = fill(seconds, (n) => Math.max(-0.6, Math.min(0.6, 4 * chord(n) * Math.exp(-(n % 24000) / 18000))))
  return Float32Array.from(bandPassed(Float64Array.from(driven), 90, 5000), (sample) => 0.7 * sample)
}

/** A naive sawtooth bass whose filter opens with each note. */
export function synthBass(seconds: number): Sound {
  let state = 0
  return fill(seconds, (n) => {
    const hz = [41.2, 55, 49, 36.7][Math.floor(n / 12000) % 4]!
    const share = 0.02 + 0.5 * Math.exp(-(n % 12000) / 3000)
    state += share * (0.5 * (((hz * n) / RATE) % 1) - 0.25 - state)
    return state
  })
}

/** Two square waves, a triangle in sixteen steps and shifted-register noise, with hard starts and stops. */
export function chiptune(seconds: number): Sound {
  const notes = [262, 330, 392, 523, 440, 349, 294, 247]
  let register = 1
  let bit = 1
  return fill(seconds, (n) => {
    const step = Math.floor(n / 6000)
    const isOn = n % 6000 < 5200
    const hz = notes[step % 8]!
    const square = (h: number, duty: number) => (((h * n) / RATE) % 1 < duty ? 0.15 : -0.15)
    const stairs = Math.abs(Math.floor(32 * (((hz / 4) * n) / RATE)) % 32)
    const triangle = ((stairs < 16 ? stairs : 31 - stairs) - 7.5) * 0.02
    if (n % 5 === 0) {
      const next = (register ^ (register >> 1)) & 1
      register = (register >> 1) | (next << 14)
      bit = register & 1
    }
    const hiss = step % 2 === 1 && n % 6000 < 1500 ? (bit - 0.5) * 0.15 : 0
    return isOn ? square(hz, 0.5) + square(hz * 1.5, 0.25) + triangle + hiss : 0
  })
}

/** Some hundred claps a second: short bursts of band noise. */
export function applause(seconds: number, seed = 3): Sound {
  const random = seededRandom(seed)
  const noise = gaussian(seed)
  const out = new Float32Array(seconds * RATE)
  for (let at = 0; at < out.length; at += Math.ceil((RATE / 110) * 2 * random())) {
    const gain = 0.02 + 0.1 * random()
    const length = 200 + 600 * random()
    const hz = 700 + 1800 * random()
    add(
      out,
      at,
      Math.round(4 * length),
      (n) => gain * noise() * Math.cos((2 * Math.PI * hz * n) / RATE) * Math.exp(-n / length),
    )
  }
  return darken(out, 8000)
}

/** A beat of ticks, rim strokes and a bass drum under the low noise of a record. */
export function recordPercussion(seconds: number, seed = 5): Sound {
  const noise = gaussian(seed)
  const bed = darken(
    fill(seconds, () => 0.05 * noise()),
    300,
  )
  for (let at = RATE / 4, beat = 0; at < bed.length; at += 6000, beat++) {
    add(bed, at, 900, (n) => 0.1 * noise() * Math.exp(-n / 60))
    if (beat % 4 === 2) add(bed, at, 3000, (n) => 0.3 * Math.sin((2 * Math.PI * 1700 * n) / RATE) * Math.exp(-n / 90))
    if (beat % 4 === 0) add(bed, at, 9000, (n) => 0.5 * Math.sin(6 * Math.sqrt(n)) * Math.exp(-n / 2500))
  }
  return bed
}
