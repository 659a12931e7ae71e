/** Edges of a band in Hz, two octaves apart: each band has as much power, so bands compare by their levels. */
export type NoiseBand = { readonly lowHz: number; readonly highHz: number }

/**
 * For loudspeakers that carry the programme, away from what a room does to its low end and a microphone to its top.
 * @source band of EBU Tech 3343 clause 8.2
 */
export const MAINS_NOISE: NoiseBand = { lowHz: 500, highHz: 2000 }
/** For the LFE, whose channel ends at 120 Hz. @source ITU-R BS.775-4 Annex 7 */
export const LFE_NOISE: NoiseBand = { lowHz: 30, highHz: 120 }

/** As the rms of a sine that peaks there: dBFS as AES17 defines it. */
export const NOISE_LEVEL_DBFS = -20

/**
 * A second of pink noise that repeats without a seam: a line at every Hz of the band, of equal power in every octave,
 * with phases that are always the same. A sound level meter at *slow* averages over as long, and stands still.
 * Shape: [rate], peaks near -9 dBFS.
 */
export function testNoise(sampleRateHz: number, { lowHz, highHz }: NoiseBand): Float32Array {
  const sum = new Float64Array(sampleRateHz)
  let seed = 1
  let power = 0
  for (let hz = lowHz; hz < highHz; hz++) {
    seed = (Math.imul(seed, 1664525) + 1013904223) >>> 0
    addLine(sum, { hz, amplitude: 1 / Math.sqrt(hz), phase: (2 * Math.PI * seed) / 2 ** 32 })
    power += 1 / hz / 2
  }
  const rms = 10 ** (NOISE_LEVEL_DBFS / 20) * Math.SQRT1_2
  return Float32Array.from(sum, (value) => (value * rms) / Math.sqrt(power))
}

/** Adds a cosine by turning a pointer once a frame, which is many times faster than as many cosines. */
function addLine(sum: Float64Array, line: { readonly hz: number; readonly amplitude: number; readonly phase: number }) {
  const turn = (2 * Math.PI * line.hz) / sum.length
  const [cosine, sine] = [Math.cos(turn), Math.sin(turn)]
  let real = line.amplitude * Math.cos(line.phase)
  let imaginary = line.amplitude * Math.sin(line.phase)
  for (let n = 0; n < sum.length; n++) {
    sum[n]! += real
    const next = real * cosine - imaginary * sine
    imaginary = real * sine + imaginary * cosine
    real = next
  }
}
