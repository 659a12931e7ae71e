import { type AudioSource, type Cancellation, framesPerHop, powerToDb, type Segment } from '../../domain/index.ts'
import type { Kernels } from '../../dsp/index.ts'
import { ChannelSpectra, SINE_POWER, transformLength } from './channel-spectra.ts'
import { readStretch } from './stretch.ts'

/** Octaves whose levels tell the tone, 62 Hz to 16 kHz. */
const BAND_EDGES_HZ = [62, 125, 250, 500, 1000, 2000, 4000, 8000, 16000]
export const TONE_BANDS = BAND_EDGES_HZ.length - 1

/** Columns of a row besides the levels of the octaves. */
export const LEVEL = BAND_EDGES_HZ.length - 1
export const AMBIENCE = TONE_BANDS + 1
export const IN_PHASE = TONE_BANDS + 2
export const SKETCH_COLUMNS = TONE_BANDS + 3

/** The softest level that is told, in dBFS. */
export const SKETCH_FLOOR_DB = -90
const WINDOW_SECONDS = 0.08

/**
 * A row for each whole 100 ms of a two-track segment: level of each octave and of all in dBFS, the share of the power that
 * has no direction between the tracks, and twice the power that they share in phase over all of it, 1 .. -1.
 */
export function sketchForScenes(
  kernels: Kernels,
  source: AudioSource,
  segment: Segment,
  cancellation?: Cancellation,
): Float32Array {
  const { planes, leadFrames, sampleRateHz, frameCount } = readStretch(kernels, source, segment, cancellation)
  const [left, right] = planes as [Float32Array, Float32Array]
  const hopFrames = framesPerHop(sampleRateHz)
  const length = transformLength(WINDOW_SECONDS, sampleRateHz)
  const spectra = new ChannelSpectra(kernels, length)
  const pair = spectra.createSpectra()
  const spacingHz = sampleRateHz / length
  const edges = BAND_EDGES_HZ.map((hz) => Math.min(spectra.binCount, Math.round(hz / spacingHz)))
  const rows = new Float32Array(Math.floor(frameCount / hopFrames) * SKETCH_COLUMNS)
  for (let at = 0, hop = 0; at < rows.length; at += SKETCH_COLUMNS, hop++) {
    spectra.transform(left, right, leadFrames + hop * hopFrames, pair)
    writeRow(rows.subarray(at, at + SKETCH_COLUMNS), pair, edges)
  }
  return rows
}

function writeRow(
  row: Float32Array,
  { aRe, aIm, bRe, bIm }: ReturnType<ChannelSpectra['createSpectra']>,
  edges: readonly number[],
): void {
  let whole = 0
  let directed = 0
  let inPhase = 0
  for (let band = 0; band < TONE_BANDS; band++) {
    let [p, q, re, im] = [0, 0, 0, 0]
    for (let bin = edges[band] as number; bin < (edges[band + 1] as number); bin++) {
      const [lr, li, rr, ri] = [aRe[bin] as number, aIm[bin] as number, bRe[bin] as number, bIm[bin] as number]
      p += lr * lr + li * li
      q += rr * rr + ri * ri
      re += lr * rr + li * ri
      im += li * rr - lr * ri
    }
    row[band] = level(p + q)
    whole += p + q
    directed += Math.sqrt((p - q) * (p - q) + 4 * (re * re + im * im))
    inPhase += 2 * re
  }
  row[LEVEL] = level(whole)
  row[AMBIENCE] = whole > 0 ? 1 - directed / whole : 0
  row[IN_PHASE] = whole > 0 ? inPhase / whole : 0
}

/** What all bins of a Hann-windowed sine or noise hold together, over the middle bin of a sine. @source Harris, Proc. IEEE 66 (1978), table 1 */
const HANN_NOISE_BANDWIDTH = 1.5

/** In dBFS: a full-scale sine in both tracks reads 0. */
function level(power: number): number {
  const sine = power / HANN_NOISE_BANDWIDTH / SINE_POWER / 2
  return Math.max(SKETCH_FLOOR_DB, sine > 0 ? powerToDb(sine) : SKETCH_FLOOR_DB)
}
