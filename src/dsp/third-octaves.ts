import { log2 } from '../domain/index.ts'

/** A third octave and the bins of a transform that lie in it: `first` .. `end` - 1. */
export type BinBand = { readonly midHz: number; readonly first: number; readonly end: number }

/** Nominal middles from 20 Hz, the 17th third octave below 1 kHz, to 100 kHz. @source ISO 266, IEC 61260-1 */
const NOMINAL_MIDDLES_HZ = [
  20, 25, 31.5, 40, 50, 63, 80, 100, 125, 160, 200, 250, 315, 400, 500, 630, 800, 1000, 1250, 1600, 2000, 2500, 3150,
  4000, 5000, 6300, 8000, 10000, 12500, 16000, 20000, 25000, 31500, 40000, 50000, 63000, 80000, 100000,
]
const LOWEST_BAND = -17
const BANDS_PER_DECADE = 10
const REFERENCE_HZ = 1000
const LOG2_OF_10 = log2(10)

/**
 * The third octaves of a transform in which a bin lies, in rising order. The lowest also holds the bins below it.
 * @source IEC 61260-1: exact middles 1 kHz x 10^(n/10), edges half a band away
 */
export function thirdOctaves(sampleRateHz: number, transformFrames: number): readonly BinBand[] {
  const bands: { midHz: number; first: number; end: number }[] = []
  for (let bin = 1; bin <= transformFrames / 2; bin++) {
    const hz = (bin * sampleRateHz) / transformFrames
    const decades = log2(hz / REFERENCE_HZ) / LOG2_OF_10
    const band = Math.max(0, Math.round(BANDS_PER_DECADE * decades) - LOWEST_BAND)
    const midHz = NOMINAL_MIDDLES_HZ[band] as number
    const last = bands.at(-1)
    if (last?.midHz === midHz) last.end = bin + 1
    else bands.push({ midHz, first: last === undefined ? 0 : bin, end: bin + 1 })
  }
  return bands
}
