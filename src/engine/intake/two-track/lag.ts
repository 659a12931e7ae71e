import type { BinRange, CrossSums, Pair, PairSpectrum } from '../../../dsp/index.ts'
import type { Lags } from './evidence.ts'
import { framesPerLook, LOOKS_PER_LAG_CELL } from './grid.ts'

const BAND_HZ = [100, 12000] as const
/** Lags that are searched: 90 ms, more than two pictures at 24 a second. */
const REACH_SECONDS = 0.09
/**
 * Within this of no lag a whitened peak is that of lag 0, or of a tape head that stands askew. Also half the width of
 * a peak, at most: two frames of 48 kHz, by the band.
 */
const NEAR_ZERO_SECONDS = 2 / 48000

/**
 * Finds the lag of the right track, cell by cell (0.8 s), from the cross spectra of the cell and its two neighbours:
 * once whitened (every bin counts the same) and once as it is.
 * @source Knapp and Carter, IEEE Trans. ASSP-24 (1976): generalised cross-correlation with phase transform
 */
export function findLags(spectrum: PairSpectrum, pair: Pair, firstFrame: number, sampleRateHz: number, lags: Lags) {
  const bins = { first: Math.ceil(BAND_HZ[0] / spectrum.binHz), end: Math.floor(BAND_HZ[1] / spectrum.binHz) }
  const reach = Math.floor(REACH_SECONDS * sampleRateHz)
  const nearZero = Math.round(NEAR_ZERO_SECONDS * sampleRateHz)
  const ring = [spectrum.takeCross(), spectrum.takeCross(), spectrum.takeCross()] as const
  const cellFrames = framesPerLook(sampleRateHz) * LOOKS_PER_LAG_CELL
  for (let cell = -1; cell <= lags.lagMicroseconds.length; cell++) {
    sumCell(spectrum, pair, firstFrame + cell * cellFrames, sampleRateHz, bins, ring[(cell + 3) % 3]!)
    if (cell < 1) continue
    const correlations = spectrum.correlate(ring, bins, scalesOf(ring, bins))
    tell(lags, cell - 1, { ...correlations, length: spectrum.length, reach, nearZero, sampleRateHz })
  }
}

function sumCell(
  spectrum: PairSpectrum,
  pair: Pair,
  begin: number,
  sampleRateHz: number,
  bins: BinRange,
  sums: CrossSums,
): void {
  for (const each of [sums.white, sums.plain, sums.powers]) each.fill(0)
  const lookFrames = framesPerLook(sampleRateHz)
  for (let look = 0; look < LOOKS_PER_LAG_CELL; look++) {
    spectrum.lookAround(pair, begin + (look + 0.5) * lookFrames, bins)
    spectrum.addToCross(sums, bins)
  }
}

/** By these a correlation of 1 reads as 1. */
function scalesOf(ring: readonly CrossSums[], { first, end }: BinRange) {
  const power = ring.reduce((sum, { powers }) => sum + Math.sqrt(powers[0]! * powers[1]!), 0)
  return { white: 0.5 / (ring.length * LOOKS_PER_LAG_CELL * (end - first)), plain: 0.5 / (power + 1e-30) }
}

type Correlations = {
  readonly white: Float32Array
  readonly plain: Float32Array
  readonly length: number
  /** Frames. */
  readonly reach: number
  readonly nearZero: number
  readonly sampleRateHz: number
}

function tell(lags: Lags, cell: number, by: Correlations): void {
  const { nearZero } = by
  // The length is a power of two.
  const at = (lag: number) => lag & (by.length - 1)
  const height = (lag: number) => Math.abs(by.white[at(lag)]!)
  // A slope that falls from lag 0 is no peak.
  const isPeak = (lag: number) => height(lag) >= height(lag - 1) && height(lag) >= height(lag + 1)
  let best = by.reach
  let highest = height(best)
  for (let lag = -by.reach; lag <= by.reach; lag++) {
    if (height(lag) <= highest || Math.abs(lag) <= nearZero || !isPeak(lag)) continue
    best = lag
    highest = height(lag)
  }
  const [before, peak, after] = [height(best - 1), height(best), height(best + 1)]
  const bend = before - 2 * peak + after
  const offset = bend < 0 ? (0.5 * (before - after)) / bend : 0
  // The main lobe of a small lag reaches towards lag 0: only what it leaves free is called that.
  const near = Math.max(0, Math.min(nearZero, Math.abs(best) - nearZero))
  let zero = 0
  for (let lag = -near; lag <= near; lag++) if (height(lag) > height(zero)) zero = lag
  lags.lagMicroseconds[cell] = ((best + Math.max(-0.5, Math.min(0.5, offset))) / by.sampleRateHz) * 1e6
  lags.peak[cell] = by.white[at(best)]!
  lags.peakAtZero[cell] = by.white[at(zero)]!
  lags.rho[cell] = by.plain[at(best)]!
  lags.rhoAtZero[cell] = by.plain[0]!
}
