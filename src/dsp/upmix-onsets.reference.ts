import type { UpmixGeometry } from './upmix-geometry.ts'
import { ONSET_CONTRAST, ONSET_REACH_BLOCKS } from './upmix-onsets.ts'

type Stereo = { readonly left: Float64Array; readonly right: Float64Array }
type PowerMatrix = { readonly l: number; readonly r: number; readonly x: number }

/** The onsets of a whole programme as their equations stand. */
export function onsetsByEquation(geometry: UpmixGeometry, tracks: Stereo): number[] {
  const block = geometry.onsetBlockFrames
  const contrasts = Array.from({ length: Math.ceil(tracks.left.length / block) }, (_, k) =>
    Math.max(...geometry.onsetDelays.map((delay) => contrastAt(tracks, delay, k * block, block))),
  )
  const isPeak = (k: number) => {
    const near = (away: number) => contrasts[k + away] ?? 0
    for (let away = 1; away <= ONSET_REACH_BLOCKS; away++) {
      if (near(-away) >= contrasts[k]! || near(away) > contrasts[k]!) return false
    }
    return contrasts[k]! >= ONSET_CONTRAST
  }
  return contrasts.flatMap((_, k) => (isPeak(k) ? [k * block] : []))
}

/** The most by which any mix w of the two tracks rises at a frame: the largest (w' A w) / (w' B w). */
function contrastAt(tracks: Stereo, delay: number, frame: number, block: number): number {
  const mean = (from: number, end: number, weight: (i: number) => number): PowerMatrix => {
    const sum = { l: 0, r: 0, x: 0 }
    let total = 0
    for (let i = from; i < end; i++) {
      const isInside = i < tracks.left.length
      const l = isInside ? (tracks.left[i] ?? 0) - (tracks.left[i - delay] ?? 0) : 0
      const r = isInside ? (tracks.right[i] ?? 0) - (tracks.right[i - delay] ?? 0) : 0
      sum.l += weight(i) * l * l
      sum.r += weight(i) * r * r
      sum.x += weight(i) * l * r
      total += weight(i)
    }
    return { l: sum.l / total, r: sum.r / total, x: sum.x / total }
  }
  const after = mean(frame, frame + 6 * block, (i) => 6 - Math.floor((i - frame) / block))
  const heard = mean(frame - 60 * block, frame, () => 1)
  const least = 1e-3 * (after.l + after.r) + 1e-10
  return largestRatio(after, { l: heard.l + least, r: heard.r + least, x: heard.x })
}

/** The larger root c of det(A - c B) = 0. */
function largestRatio(a: PowerMatrix, b: PowerMatrix): number {
  const squared = b.l * b.r - b.x ** 2
  const linear = a.l * b.r + a.r * b.l - 2 * a.x * b.x
  const constant = a.l * a.r - a.x ** 2
  return (linear + Math.sqrt(Math.max(0, linear ** 2 - 4 * squared * constant))) / (2 * squared)
}

/** What sounds between two onsets, and how it is heard after it went through weights. The parts' tracks sum to the whole. */
export type Part = { readonly tracks: Stereo; readonly hear: (signal: Float64Array) => Float64Array }

export function partsBetween(geometry: UpmixGeometry, onsets: readonly number[], tracks: Stereo): Part[] {
  const fade = geometry.onsetBlockFrames
  const open = (frame: number, rampFrom: number) => {
    const u = Math.min(1, Math.max(0, (frame - rampFrom + 0.5) / fade))
    return u * u * (3 - 2 * u)
  }
  return Array.from({ length: onsets.length + 1 }, (_, part) => {
    const begin = onsets[part - 1] ?? Number.NEGATIVE_INFINITY
    const end = onsets[part] ?? Number.POSITIVE_INFINITY
    const keep = (signal: Float64Array) => signal.map((x, i) => x * open(i, begin - fade) * (1 - open(i, end - fade)))
    return {
      tracks: { left: keep(tracks.left), right: keep(tracks.right) },
      hear: (signal) => signal.map((x, i) => x * open(i, begin - 2 * fade)),
    }
  })
}
