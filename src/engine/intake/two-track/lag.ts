import type { Lags } from './evidence.ts'
import { framesPerLook, LOOKS_PER_LAG_CELL } from './grid.ts'
import type { Pair, PairSpectrum, Spectrum } from './pair-spectrum.ts'

const BAND_HZ = [100, 12000] as const
/** Lags that are searched: 90 ms, more than two pictures at 24 a second. */
const REACH_SECONDS = 0.09
/**
 * Within this of no lag a whitened peak is that of lag 0, or of a tape head that stands askew. Also half the width of
 * a peak, at most: two frames of 48 kHz, by the band.
 */
const NEAR_ZERO_SECONDS = 2 / 48000

type Sums = { readonly white: Spectrum; readonly plain: Spectrum; power: number }

/**
 * Finds the lag of the right track, cell by cell (0.8 s), from the cross spectra of the cell and its two neighbours:
 * once whitened (every bin counts the same) and once as it is.
 * @source Knapp and Carter, IEEE Trans. ASSP-24 (1976): generalised cross-correlation with phase transform
 */
export function findLags(spectrum: PairSpectrum, pair: Pair, firstFrame: number, sampleRateHz: number, lags: Lags) {
  const bins = { first: Math.ceil(BAND_HZ[0] / spectrum.binHz), end: Math.floor(BAND_HZ[1] / spectrum.binHz) }
  const reach = Math.floor(REACH_SECONDS * sampleRateHz)
  const nearZero = Math.round(NEAR_ZERO_SECONDS * sampleRateHz)
  const fresh = (): Sums => ({ white: emptySpectrum(spectrum.length), plain: emptySpectrum(spectrum.length), power: 0 })
  const ring = [fresh(), fresh(), fresh()] as const
  const cellFrames = framesPerLook(sampleRateHz) * LOOKS_PER_LAG_CELL
  const joined = fresh()
  for (let cell = -1; cell <= lags.lagMicroseconds.length; cell++) {
    const sums = ring[(cell + 3) % 3]!
    sumCell(spectrum, pair, firstFrame + cell * cellFrames, sampleRateHz, bins, sums)
    if (cell < 1) continue
    joinInto(joined, ring, bins)
    const by = spectrum.correlate(joined.white, joined.plain, bins.first, bins.end)
    const [white, plain] = [by.first, by.second]
    tell(lags, cell - 1, { white, plain, length: spectrum.length, reach, nearZero, sampleRateHz })
  }
}

function emptySpectrum(length: number): Spectrum {
  return { re: new Float64Array(length / 2), im: new Float64Array(length / 2) }
}

type Bins = { readonly first: number; readonly end: number }

function sumCell(spectrum: PairSpectrum, pair: Pair, begin: number, rate: number, bins: Bins, sums: Sums): void {
  for (const each of [sums.white, sums.plain]) {
    each.re.fill(0)
    each.im.fill(0)
  }
  const lookFrames = framesPerLook(rate)
  let left = 0
  let right = 0
  for (let look = 0; look < LOOKS_PER_LAG_CELL; look++) {
    spectrum.lookAround(pair, begin + (look + 0.5) * lookFrames, bins.first, bins.end)
    for (let bin = bins.first; bin < bins.end; bin++) {
      const re = spectrum.crossRe[bin]!
      // The correlation by lag of the right track is the transform of the conjugate.
      const im = -spectrum.crossIm[bin]!
      const scale = 1 / (Math.sqrt(re * re + im * im) + 1e-20)
      sums.white.re[bin]! += re * scale
      sums.white.im[bin]! += im * scale
      sums.plain.re[bin]! += re
      sums.plain.im[bin]! += im
      left += spectrum.leftPower[bin]!
      right += spectrum.rightPower[bin]!
    }
  }
  sums.power = Math.sqrt(left * right)
}

/** Joins three cells and scales them so that a correlation of 1 reads as 1. */
function joinInto(joined: Sums, ring: readonly Sums[], bins: Bins): void {
  const power = ring.reduce((sum, each) => sum + each.power, 0)
  const white = 0.5 / (ring.length * LOOKS_PER_LAG_CELL * (bins.end - bins.first))
  const plain = 0.5 / (power + 1e-30)
  for (let bin = bins.first; bin < bins.end; bin++) {
    const sum = (of: 'white' | 'plain', part: 're' | 'im') =>
      ring[0]![of][part][bin]! + ring[1]![of][part][bin]! + ring[2]![of][part][bin]!
    joined.white.re[bin] = white * sum('white', 're')
    joined.white.im[bin] = white * sum('white', 'im')
    joined.plain.re[bin] = plain * sum('plain', 're')
    joined.plain.im[bin] = plain * sum('plain', 'im')
  }
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
  const at = (lag: number) => (lag + by.length) % by.length
  const height = (lag: number) => Math.abs(by.white[at(lag)]!)
  // A slope that falls from lag 0 is no peak.
  const isPeak = (lag: number) => height(lag) >= height(lag - 1) && height(lag) >= height(lag + 1)
  let best = by.reach
  for (let lag = -by.reach; lag <= by.reach; lag++) {
    if (Math.abs(lag) > nearZero && height(lag) > height(best) && isPeak(lag)) best = lag
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
