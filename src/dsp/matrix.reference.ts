import { transform } from './fft.reference.ts'
import type { MatrixGeometry } from './matrix-geometry.ts'

export type LtRt = { readonly left: Float64Array; readonly right: Float64Array }
type Complex = { readonly re: Float64Array; readonly im: Float64Array }
type Frame = { readonly left: Complex; readonly right: Complex }
type Maps = Record<string, Float64Array[]>

const K = Math.SQRT1_2
const clip = (x: number, low = 0, high = 1) => Math.max(low, Math.min(high, x))
const LEAK = 1e-5

/** The decoder of Lt/Rt as its equations stand, on a whole programme and in double precision: the oracle of the kernel. */
export function decodeByEquation(
  geometry: MatrixGeometry,
  tracks: LtRt,
  centreShare = 1,
  surroundShare = 1,
): { centre: Float64Array; leftSurround: Float64Array; rightSurround: Float64Array } {
  const frames = framesOf(geometry, tracks)
  const powers: Maps = {
    p: frames.map(({ left }) => left.re.map((_, b) => left.re[b]! ** 2 + left.im[b]! ** 2)),
    q: frames.map(({ right }) => right.re.map((_, b) => right.re[b]! ** 2 + right.im[b]! ** 2)),
    re: frames.map(({ left, right }) => left.re.map((_, b) => left.re[b]! * right.re[b]! + left.im[b]! * right.im[b]!)),
    im: frames.map(({ left, right }) => left.re.map((_, b) => left.im[b]! * right.re[b]! - left.re[b]! * right.im[b]!)),
  }
  const short = mapAll(powers, (map) => overFrames(map, geometry.shortHalf))
  const near = mapAll(evidenceOf(short), (map) =>
    overFrames(
      map.map((frame) => overBins(geometry, frame)),
      geometry.nearHalf,
    ),
  )
  const centre: Complex[] = []
  const leftSurround: Complex[] = []
  const rightSurround: Complex[] = []
  frames.forEach((frame, m) => {
    const [c, ls, rs] = [empty(geometry), empty(geometry), empty(geometry)]
    for (let b = 0; b <= geometry.lastBin; b++) {
      const { cl, cr, sl, sr, toLeft } = weights(
        (name) => short[name]![m]![b]!,
        (name) => near[name]![m]![b]!,
      )
      for (const part of ['re', 'im'] as const) {
        const [l, r] = [frame.left[part][b]!, frame.right[part][b]!]
        c[part][b] = centreShare * (cl * l + cr * r)
        const s = surroundShare * (sl * l + sr * r)
        ls[part][b] = toLeft * s
        rs[part][b] = (1 - toLeft) * s
      }
    }
    centre.push(c)
    leftSurround.push(ls)
    rightSurround.push(rs)
  })
  const time = (spectra: readonly Complex[]) => toTime(geometry, spectra, tracks.left.length)
  return { centre: time(centre), leftSurround: time(leftSurround), rightSurround: time(rightSurround) }
}

function evidenceOf({ p, q, re, im }: Maps): Maps {
  const map = (of: (s: number, d: number, x: number, y: number) => number) =>
    p!.map((frame, m) =>
      frame.map((_, b) =>
        of(p![m]![b]! + q![m]![b]! + 1e-20, p![m]![b]! - q![m]![b]!, 2 * re![m]![b]!, 2 * im![m]![b]!),
      ),
    )
  return {
    s: map((s) => s),
    dd: map((s, d) => (d * d) / s),
    xx: map((s, _d, x) => (x * x) / s),
    d: map((_s, d) => d),
    x: map((_s, _d, x) => x),
    left: map((s, d) => (d > 0 ? (d * d) / s : 0)),
    centre: map((s, _d, x) => (x > 0 ? (x * x) / s : 0)),
    yy: map((s, _d, _x, y) => (y * y) / s),
  }
}

/** Real weights of C and S in a bin: C = cl Lt + cr Rt, S = sl Lt + sr Rt; and the share of S that goes to Ls. */
function weights(short: (name: string) => number, near: (name: string) => number) {
  const s = short('p') + short('q') + 1e-20
  const [re, im] = [short('re') / s, short('im') / s]
  const [dd, xx] = [near('dd') / near('s'), near('xx') / near('s')]
  const yy = near('yy') / near('s')
  const trust = (squared: number) => clip((squared / Math.max(1e-7, squared + yy) - 0.6) / 0.22)
  const ownD = (short('p') - short('q')) / s
  const trustD = trust(dd)
  const trustX = trust(xx)
  const d = trustD * ownD + (1 - trustD) * clip(near('d') / near('s'), -1, 1)
  const x = trustX * 2 * re + (1 - trustX) * clip(near('x') / near('s'), -1, 1)
  const [pl, pr] = [(1 + d) / 2, (1 - d) / 2]
  const geometric = Math.sqrt(pl * pr) + LEAK
  const coherence = Math.hypot(re, im) / geometric
  const turned = clip((im / geometric) ** 2 * clip((coherence - 0.6) / 0.3))
  const [left, centre] = [near('left') / near('s'), near('centre') / near('s')]
  const present = (power: number) => Math.max(0, power - 0.9 * yy)
  const fronts = 1e-3 + Math.sqrt(present(left) * present(dd - left))
  const middle = 1e-3 + Math.sqrt(present(centre) * present(xx - centre))
  const share = (fronts / (fronts + middle)) * (1 - turned)
  const lesser = Math.min(pl, pr)
  const common = Math.min(Math.abs(x) / 2, lesser)
  const residue = (1 - share) * (lesser - common)
  const L = pl - common - residue + LEAK
  const R = pr - common - residue + LEAK
  const C = (x > 0 ? 2 * common : 0) + residue + LEAK
  const S = (x > 0 ? 0 : 2 * common) + residue + LEAK
  const det = L * R + ((L + R) * (C + S)) / 2 + C * S
  const opposite = clip((-re / geometric - 0.8) / 0.15)
  return {
    cl: (K * C * (R + S)) / det,
    cr: (K * C * (L + S)) / det,
    sl: (-K * S * (R + C)) / det,
    sr: (K * S * (L + C)) / det,
    toLeft: 0.5 + 0.5 * opposite * clip(3 * ownD, -1, 1),
  }
}

const window = (n: number, i: number) => Math.sin((Math.PI * i) / n)

function empty({ lastBin }: MatrixGeometry): Complex {
  return { re: new Float64Array(lastBin + 1), im: new Float64Array(lastBin + 1) }
}

function mapAll(maps: Maps, of: (map: Float64Array[]) => Float64Array[]): Maps {
  return Object.fromEntries(Object.entries(maps).map(([name, map]) => [name, of(map)]))
}

function framesOf({ transformFrames: n, hopFrames, hopsPerTransform, lastBin }: MatrixGeometry, tracks: LtRt): Frame[] {
  const count = Math.ceil(tracks.left.length / hopFrames) + hopsPerTransform - 1
  const spectrum = (track: Float64Array, m: number) => {
    const from = (m + 1 - hopsPerTransform) * hopFrames
    const re = Float64Array.from({ length: n }, (_, i) => window(n, i) * (track[from + i] ?? 0))
    const full = transform(re, new Float64Array(n))
    return { re: full.re.slice(0, lastBin + 1), im: full.im.slice(0, lastBin + 1) }
  }
  return Array.from({ length: count }, (_, m) => ({ left: spectrum(tracks.left, m), right: spectrum(tracks.right, m) }))
}

function overBins({ nearBins, lastBin }: MatrixGeometry, frame: Float64Array): Float64Array {
  return frame.map((_, b) => {
    const first = Math.max(0, b - nearBins)
    const last = Math.min(lastBin, b + nearBins)
    let sum = 0
    for (let n = first; n <= last; n++) sum += frame[n]!
    return sum / (last - first + 1)
  })
}

function overFrames(map: readonly Float64Array[], half: number): Float64Array[] {
  return map.map((frame, m) => {
    const mean = new Float64Array(frame.length)
    for (let n = -half; n <= half; n++) {
      const weight = (1 + Math.cos((Math.PI * n) / (half + 1))) / (2 * (half + 1))
      const other = map[m + n]
      if (other !== undefined) for (let b = 0; b < mean.length; b++) mean[b] = mean[b]! + weight * other[b]!
    }
    return mean
  })
}

function toTime(geometry: MatrixGeometry, spectra: readonly Complex[], frameCount: number): Float64Array {
  const { transformFrames: n, hopFrames, hopsPerTransform, lastBin } = geometry
  const out = new Float64Array(frameCount)
  spectra.forEach((half, m) => {
    const re = new Float64Array(n)
    const im = new Float64Array(n)
    for (let b = 0; b <= lastBin; b++) {
      re[b] = half.re[b]!
      im[b] = b === 0 || b === lastBin ? 0 : half.im[b]!
      if (b > 0 && b < lastBin) {
        re[n - b] = re[b]!
        im[n - b] = -im[b]!
      }
    }
    const time = transform(im, re).im
    const from = (m + 1 - hopsPerTransform) * hopFrames
    for (let i = 0; i < n; i++) {
      const at = from + i
      if (at >= 0 && at < frameCount) out[at] = out[at]! + (2 / hopsPerTransform / n) * window(n, i) * time[i]!
    }
  })
  return out
}
