import type { UpmixSettings } from '../domain/index.ts'
import { transform } from './fft.reference.ts'
import { binReach, duckBand, FINE_ERBS, POWER_ERBS, speechBins, type UpmixGeometry } from './upmix-geometry.ts'
import { onsetsByEquation, partsBetween } from './upmix-onsets.reference.ts'

/**
 * The upmix's transform part as its equations stand, on a whole programme and in double precision: the oracle of the
 * kernel. What follows in time (tone, delay, sparse noise, LFE) is not here.
 */
export function extractByEquation(
  geometry: UpmixGeometry,
  settings: UpmixSettings,
  tracks: Stereo,
  carried: Stereo = tracks,
  /** How surely a voice sounds at a second, 0..1; null where nobody listened. */
  voice: ((seconds: number) => number) | null = null,
): { centre: Float64Array; leftSurround: Float64Array; rightSurround: Float64Array } {
  const powers = powersOf(framesOf(geometry, tracks))
  const centrePowers = mapPowers(powers, (map) => overFrames(map, geometry.centreHalf))
  const averaged = mapPowers(powers, (map) => overBins(geometry, map, POWER_ERBS))
  const floorPowers = mapPowers(averaged, (map) => overFrames(map, geometry.floorHalf))
  const ambiencePowers = mapPowers(averaged, (map) => overFrames(map, geometry.ambienceHalf))

  const common = commonPower(settings, centrePowers, floorPowers)
  const duck = speechDuck(geometry, settings, centrePowers, common, voice)
  const frameCount = carried.left.length
  const out = {
    centre: new Float64Array(frameCount),
    leftSurround: new Float64Array(frameCount),
    rightSurround: new Float64Array(frameCount),
  }
  for (const part of partsBetween(geometry, onsetsByEquation(geometry, tracks), carried)) {
    const spectra = framesOf(geometry, part.tracks)
    const centre = spectra.map((spectrum, j) =>
      centreSpectrum(geometry, settings, centrePowers, common, j >> 1, spectrum, sounding(geometry, voice, j >> 1)),
    )
    const surrounds = spectra.map((spectrum, j) =>
      surroundSpectra(geometry, settings, ambiencePowers, duck, j >> 1, spectrum, sounding(geometry, voice, j >> 1)),
    )
    const add = (plane: Float64Array, of: readonly Spectrum[]) =>
      part.hear(toTime(geometry, of, frameCount)).forEach((x, i) => {
        plane[i] = plane[i]! + x
      })
    add(out.centre, centre)
    add(
      out.leftSurround,
      surrounds.map((pair) => pair.left),
    )
    add(
      out.rightSurround,
      surrounds.map((pair) => pair.right),
    )
  }
  return out
}

export type Stereo = { readonly left: Float64Array; readonly right: Float64Array }
type Spectrum = { readonly re: Float64Array; readonly im: Float64Array }
type Pair = { readonly left: Spectrum; readonly right: Spectrum }
/** `[frame][bin]`; powers and weights have one frame for two transforms. */
type BinMap = readonly Float64Array[]
type Powers = { readonly pl: BinMap; readonly pr: BinMap; readonly re: BinMap; readonly im: BinMap }

const K = Math.SQRT1_2
const clip = (x: number) => Math.max(0, Math.min(1, x))
const window = (geometry: UpmixGeometry, i: number) => Math.sin((Math.PI * i) / geometry.transformFrames)
const firstFrameOf = (geometry: UpmixGeometry, m: number) => (m - 3) * geometry.hopFrames

function mapPowers(powers: Powers, smooth: (map: BinMap) => BinMap): Powers {
  return { pl: smooth(powers.pl), pr: smooth(powers.pr), re: smooth(powers.re), im: smooth(powers.im) }
}

function framesOf(geometry: UpmixGeometry, tracks: Stereo): Pair[] {
  const covering = Math.ceil(tracks.left.length / geometry.hopFrames) + 3
  const count = covering + (covering % 2)
  const spectrum = (track: Float64Array, m: number) => {
    const re = new Float64Array(geometry.transformFrames)
    const from = firstFrameOf(geometry, m)
    for (let i = 0; i < re.length; i++) re[i] = window(geometry, i) * (track[from + i] ?? 0)
    const full = transform(re, new Float64Array(re.length))
    return { re: full.re.slice(0, geometry.lastBin + 1), im: full.im.slice(0, geometry.lastBin + 1) }
  }
  return Array.from({ length: count }, (_, m) => ({
    left: spectrum(tracks.left, m),
    right: spectrum(tracks.right, m),
  }))
}

/** Powers of two transforms at a time: their mean. */
function powersOf(spectra: readonly Pair[]): Powers {
  const map = (of: (lr: number, li: number, rr: number, ri: number) => number) =>
    Array.from({ length: spectra.length / 2 }, (_, m) =>
      spectra[2 * m]!.left.re.map((_lr, b) => {
        const at = ({ left, right }: Pair) => of(left.re[b]!, left.im[b]!, right.re[b]!, right.im[b]!)
        return (at(spectra[2 * m]!) + at(spectra[2 * m + 1]!)) / 2
      }),
    )
  return {
    pl: map((lr, li) => lr * lr + li * li),
    pr: map((_lr, _li, rr, ri) => rr * rr + ri * ri),
    re: map((lr, li, rr, ri) => lr * rr + li * ri),
    im: map((lr, li, rr, ri) => li * rr - lr * ri),
  }
}

function overBins(geometry: UpmixGeometry, map: BinMap, erbs: number): BinMap {
  return map.map((frame) =>
    frame.map((_, b) => {
      const { first, last } = binReach(geometry, b, erbs)
      let sum = 0
      for (let near = first; near <= last; near++) sum += frame[near]!
      return sum / (last - first + 1)
    }),
  )
}

function hannWeight(n: number, half: number): number {
  return (1 + Math.cos((Math.PI * n) / (half + 1))) / (2 * (half + 1))
}

function overFrames(map: BinMap, half: number): BinMap {
  return map.map((frame, m) => {
    const mean = new Float64Array(frame.length)
    for (let n = -half; n <= half; n++) {
      const weight = hannWeight(n, half)
      const near = map[m + n]
      if (near !== undefined) for (let b = 0; b < mean.length; b++) mean[b] = mean[b]! + weight * near[b]!
    }
    return mean
  })
}

/** D = max(0, min(Re X, min(P_L, P_R) - eta P_A)), P_A the smaller eigenvalue of the floor set's [[P_L, Re X], [Re X, P_R]]. */
function commonPower(settings: UpmixSettings, centre: Powers, floor: Powers): BinMap {
  return centre.pl.map((frame, m) =>
    frame.map((pl, b) => {
      const fl = floor.pl[m]![b]!
      const fr = floor.pr[m]![b]!
      const pa = Math.max(0, (fl + fr - Math.sqrt((fl - fr) ** 2 + 4 * floor.re[m]![b]! ** 2)) / 2)
      return Math.max(
        0,
        Math.min(centre.re[m]![b]!, Math.min(pl, centre.pr[m]![b]!) - settings.centreDiffuseReject * pa),
      )
    }),
  )
}

function centreSpectrum(
  geometry: UpmixGeometry,
  settings: UpmixSettings,
  powers: Powers,
  common: BinMap,
  m: number,
  spectrum: Pair,
  sounds: number,
): Spectrum {
  const re = new Float64Array(geometry.lastBin + 1)
  const im = new Float64Array(geometry.lastBin + 1)
  for (let b = 0; b <= geometry.lastBin; b++) {
    const pl = powers.pl[m]![b]!
    const pr = powers.pr[m]![b]!
    const d = common[m]![b]!
    const e = 1e-3 * d + geometry.leak
    const sl = pl - d + e
    const sr = pr - d + e
    const den = d * sl + d * sr + sl * sr + 1e-28
    const u = Math.abs(pl - pr) / Math.max(pl + pr, 1e-20)
    const w = settings.centreReach
    const reach = w >= 1 ? 1 : 0.5 + 0.5 * Math.cos(Math.PI * clip((u - 0.8 * w) / 0.25))
    // What both sides give is as the fit says; how it is shared between them turns to equal parts where they are equal.
    const even = 0.3 * d
    const pull = even ** 2 / (even + 4 * Math.abs(pl - pr) + 1e-300)
    const gain = (settings.centreShare * reach * d * (sl + sr)) / den / (sl + sr + 2 * pull) / K
    const held = (Math.min(pl, pr) / Math.max(pl, pr, 1e-300)) ** 0.125
    const fromLeft = gain * (sr + pull) * (pl > pr ? held : 1)
    const fromRight = gain * (sl + pull) * (pr > pl ? held : 1)
    // Under a voice both weights move towards those of a sound in the middle, less the further it stands from there.
    const fill = settings.centreSpeechFill * sounds * duckBand(geometry, b) * Math.max(0, 1 - 2 * u)
    const middle = settings.centreShare * reach * Math.SQRT1_2
    const a = fromLeft + fill * (middle - fromLeft)
    const c = fromRight + fill * (middle - fromRight)
    re[b] = a * spectrum.left.re[b]! + c * spectrum.right.re[b]!
    im[b] = a * spectrum.left.im[b]! + c * spectrum.right.im[b]!
  }
  return { re, im }
}

/** How far a voice counts as sounding in the middle of a pair of transforms, 0..1. */
function sounding(geometry: UpmixGeometry, voice: ((seconds: number) => number) | null, m: number): number {
  if (voice === null) return 0
  return clip((voice(((2 * m - 0.5) * geometry.hopFrames) / geometry.sampleRateHz) - 0.15) / 0.25)
}

function speechDuck(
  geometry: UpmixGeometry,
  settings: UpmixSettings,
  powers: Powers,
  common: BinMap,
  voice: ((seconds: number) => number) | null,
): BinMap {
  const band = speechBins(geometry)
  const sum = (of: (m: number, b: number) => number) =>
    common.map((_, m) => {
      let total = 0
      for (let b = band.first; b <= band.last; b++) total += of(m, b)
      return Float64Array.of(total)
    })
  const inMiddle = overFrames(
    sum((m, b) => 2 * common[m]![b]!),
    geometry.centreHalf,
  )
  const all = overFrames(
    sum((m, b) => powers.pl[m]![b]! + powers.pr[m]![b]!),
    geometry.centreHalf,
  )
  const share = common.map((frame, m) =>
    frame.map((d, b) => (2 * d) / Math.max(powers.pl[m]![b]! + powers.pr[m]![b]!, 1e-20)),
  )
  const fine = overBins(geometry, overFrames(share, geometry.fineHalf), FINE_ERBS)
  return fine.map((frame, m) => {
    const common = all[m]![0]! > 0 ? inMiddle[m]![0]! / all[m]![0]! : 0
    // Without a voice the law is gentle, with one it is as if the middle were nothing but voice; between them straight lines.
    const sounds = sounding(geometry, voice, m)
    const dominance = voice === null ? clip((common - 0.2) / 0.3) : (1 - sounds) * clip((common - 0.4) / 0.4) + sounds
    const from = voice === null ? 0.05 : 0.15 - 0.075 * sounds
    const fully = voice === null ? 0.3 : 0.55 - 0.2 * sounds
    return frame.map((x, b) => {
      const own = clip((x - from) / (fully - from))
      return 1 - settings.surroundSpeechReject * dominance * duckBand(geometry, b) * own
    })
  })
}

function surroundSpectra(
  geometry: UpmixGeometry,
  settings: UpmixSettings,
  powers: Powers,
  duck: BinMap,
  m: number,
  spectrum: Pair,
  sounds: number,
): Pair {
  const bins = geometry.lastBin + 1
  const empty = () => ({ re: new Float64Array(bins), im: new Float64Array(bins) })
  const left = empty()
  const right = empty()
  for (let b = 0; b < bins; b++) {
    const pl = powers.pl[m]![b]!
    const pr = powers.pr[m]![b]!
    const xr = powers.re[m]![b]!
    const xi = powers.im[m]![b]!
    // With directRejection 1 this is the inverse square root of [[P_L, X], [X*, P_R]] but for a factor a side: Ls and Rs
    // share nothing.
    const geometric = Math.sqrt(pl * pr)
    const remaining = Math.sqrt(Math.max(0, pl * pr - xr * xr - xi * xi))
    const nu = (settings.directRejection * geometric) / (geometric + remaining + 1e-300)
    const yr = nu * xr
    const yi = nu * xi
    const root = Math.sqrt((pl - pr) ** 2 + 4 * (xr * xr + xi * xi))
    const l1 = (pl + pr + root) / 2
    // The smaller eigenvalue as determinant over the larger one: the difference would lose it for coherent sound.
    const l2 = Math.max(0, pl * pr - xr * xr - xi * xi) / (l1 + 1e-30)
    const det = Math.max(pl * pr - yr * yr - yi * yi, 1e-9 * pl * pr) + 1e-28
    const psi = Math.min(1, (2 * l2) / (l1 + l2 + 1e-30))
    const share = settings.ambienceShare * 2 ** (settings.surroundBalance / 2)
    const weight = (share * psi ** settings.ambienceStrictness * duck[m]![b]! * l2) / det
    const { re: lr, im: li } = spectrum.left
    const { re: rr, im: ri } = spectrum.right
    // Ls = w (P_R L - Y R), Rs = w (P_L R - conj(Y) L)
    left.re[b] = weight * (pr * lr[b]! - (yr * rr[b]! - yi * ri[b]!))
    left.im[b] = weight * (pr * li[b]! - (yr * ri[b]! + yi * rr[b]!))
    right.re[b] = weight * (pl * rr[b]! - (yr * lr[b]! + yi * li[b]!))
    right.im[b] = weight * (pl * ri[b]! - (yr * li[b]! - yi * lr[b]!))
  }
  const { left: ls, right: rs } = narrowed({ left, right }, 0.3 * sounds * settings.surroundSpeechReject)
  return settings.surroundSpread === 'quadrature'
    ? { left: turned(ls, 1), right: turned(rs, -1) }
    : { left: ls, right: rs }
}

/** Leaves out a part of the difference of two spectra. */
function narrowed({ left, right }: Pair, part: number): Pair {
  const mixed = (own: Float64Array, other: Float64Array) => own.map((x, b) => x - (part / 2) * (x - other[b]!))
  return {
    left: { re: mixed(left.re, right.re), im: mixed(left.im, right.im) },
    right: { re: mixed(right.re, left.re), im: mixed(right.im, left.im) },
  }
}

/** Times i or -i. */
function turned(spectrum: Spectrum, sign: 1 | -1): Spectrum {
  return { re: spectrum.im.map((x) => -sign * x), im: spectrum.re.map((x) => sign * x) }
}

function toTime(geometry: UpmixGeometry, spectra: readonly Spectrum[], frameCount: number): Float64Array {
  const n = geometry.transformFrames
  const out = new Float64Array(frameCount)
  spectra.forEach((half, m) => {
    const re = new Float64Array(n)
    const im = new Float64Array(n)
    for (let b = 0; b <= geometry.lastBin; b++) {
      re[b] = half.re[b]!
      // What is imaginary at 0 and n/2 belongs to no real signal.
      im[b] = b === 0 || b === geometry.lastBin ? 0 : half.im[b]!
      if (b > 0 && b < geometry.lastBin) {
        re[n - b] = re[b]!
        im[n - b] = -im[b]!
      }
    }
    const time = transform(im, re).im
    const from = firstFrameOf(geometry, m)
    for (let i = 0; i < n; i++) {
      const at = from + i
      if (at >= 0 && at < frameCount) out[at] = out[at]! + (0.5 / n) * window(geometry, i) * time[i]!
    }
  })
  return out
}
