import { SAMPLE_RATE_HZ } from './signal.ts'

type Kind = 'low' | 'high' | 'band'

/**
 * Filters a signal by a second-order section whose frequency may move; gives a new signal.
 * State-variable form, which stays smooth while it moves; `resonance` is Q.
 */
export function filtered(
  signal: Float32Array,
  kind: Kind,
  frequencyHz: number | ((seconds: number) => number),
  resonance = Math.SQRT1_2,
): Float32Array {
  const result = new Float32Array(signal.length)
  const step = typeof frequencyHz === 'number' ? signal.length : 64
  const at = typeof frequencyHz === 'number' ? () => frequencyHz : frequencyHz
  const damping = 1 / resonance
  let first = 0
  let second = 0
  for (let start = 0; start < signal.length; start += step) {
    const g = Math.tan((Math.PI * Math.min(at(start / SAMPLE_RATE_HZ), 0.45 * SAMPLE_RATE_HZ)) / SAMPLE_RATE_HZ)
    const a1 = 1 / (1 + g * (g + damping))
    const a2 = g * a1
    const end = Math.min(start + step, signal.length)
    for (let f = start; f < end; f++) {
      const input = signal[f]
      const high = input - second
      const band = a1 * first + a2 * high
      const low = second + g * band
      first = 2 * band - first
      second = 2 * low - second
      result[f] = kind === 'low' ? low : kind === 'band' ? damping * band : input - damping * band - low
    }
  }
  return result
}

/** Rolls noise off at 3 dB an octave between about 20 Hz and 20 kHz. */
export function pinkened(noise: Float32Array): Float32Array {
  const result = new Float32Array(noise.length)
  const poles = [0.99765, 0.963, 0.57]
  const inputs = [0.099046, 0.2965164, 1.0526913]
  const state = [0, 0, 0]
  for (let f = 0; f < noise.length; f++) {
    const white = noise[f]
    let total = white * 0.1848
    for (let p = 0; p < 3; p++) {
      state[p] = poles[p] * state[p] + inputs[p] * white
      total += state[p]
    }
    result[f] = total * 0.3
  }
  return result
}
