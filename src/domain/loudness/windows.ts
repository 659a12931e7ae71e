import { dbToPower, powerToDb } from '../elementary.ts'
import { FINE_HOPS_PER_HOP, FINE_HOPS_PER_SECOND } from '../grid.ts'

/**
 * Takes off the gain of the K-weighting at 997 Hz, so that a full-scale sine there reads -3.01.
 * @source ITU-R BS.1770-5 Annex 1, equation 2
 */
const K_WEIGHTING_OFFSET_DB = -0.691

/** @source EBU Tech 3341 clause 2.2: sliding rectangular windows without a gate */
export const MOMENTARY_SECONDS = 0.4
export const SHORT_TERM_SECONDS = 3

/** Loudness in LKFS of a K-weighted, channel-weighted mean square; -Infinity of 0. */
export function loudnessOf(power: number): number {
  return K_WEIGHTING_OFFSET_DB + powerToDb(power)
}

/** The mean square that has this loudness. */
export function powerOf(loudnessLkfs: number): number {
  return dbToPower(loudnessLkfs - K_WEIGHTING_OFFSET_DB)
}

/** Mean squares of 100 ms from those of 10 ms; a begun 100 ms at the end is dropped. */
export function toHops(powers10ms: Float64Array): Float64Array {
  const hops = new Float64Array(Math.floor(powers10ms.length / FINE_HOPS_PER_HOP))
  for (let hop = 0; hop < hops.length; hop++) {
    let sum = 0
    const first = hop * FINE_HOPS_PER_HOP
    for (let i = first; i < first + FINE_HOPS_PER_HOP; i++) sum += powers10ms[i] as number
    hops[hop] = sum / FINE_HOPS_PER_HOP
  }
  return hops
}

/**
 * Means of all windows of `length` values, value i of the window that starts at i; empty where no whole window fits.
 * Nothing is ever subtracted: each window is the tail of one stretch plus the head of the next, so that silence after
 * a loud passage is exactly 0.
 */
export function windowMeans(powers: Float64Array, length: number): Float64Array {
  const means = new Float64Array(Math.max(0, powers.length - length + 1))
  const tails = new Float64Array(length)
  for (let stretch = 0; stretch < means.length; stretch += length) {
    let tail = 0
    for (let i = length - 1; i >= 0; i--) {
      tail += powers[stretch + i] as number
      tails[i] = tail
    }
    let head = 0
    for (let i = 0; i < length && stretch + i < means.length; i++) {
      if (i > 0) head += powers[stretch + length + i - 1] as number
      means[stretch + i] = ((tails[i] as number) + head) / length
    }
  }
  return means
}

/** Several series one after the other. */
export function concatenated(parts: readonly Float64Array[]): Float64Array {
  const [first] = parts
  if (first !== undefined && parts.length === 1) return first
  const whole = new Float64Array(parts.reduce((sum, part) => sum + part.length, 0))
  let next = 0
  for (const part of parts) {
    whole.set(part, next)
    next += part.length
  }
  return whole
}

/**
 * Momentary loudness in LKFS of every window of 400 ms, value i of the window that starts at i.
 * `perSecond` is the grid of `powers`: 100 or 10 values a second.
 */
export function momentary(powers: Float64Array, perSecond: number = FINE_HOPS_PER_SECOND): Float64Array {
  return windowMeans(powers, MOMENTARY_SECONDS * perSecond).map(loudnessOf)
}

/** Short-term loudness in LKFS of every window of 3 s, value i of the window that starts at i; see `momentary`. */
export function shortTerm(powers: Float64Array, perSecond: number = FINE_HOPS_PER_SECOND): Float64Array {
  return windowMeans(powers, SHORT_TERM_SECONDS * perSecond).map(loudnessOf)
}

/** The loudest window of a programme and where it starts. */
export type LoudestWindow = { readonly loudnessLkfs: number; readonly startSeconds: number }

/** The highest momentary loudness on the grid of `powers` and its first place; null without a whole window or sound. */
export function loudestMomentary(powers: Float64Array, perSecond: number = FINE_HOPS_PER_SECOND): LoudestWindow | null {
  return loudest(powers, MOMENTARY_SECONDS, perSecond)
}

/** The highest short-term loudness on the grid of `powers` and its first place; null without a whole window or sound. */
export function loudestShortTerm(powers: Float64Array, perSecond: number = FINE_HOPS_PER_SECOND): LoudestWindow | null {
  return loudest(powers, SHORT_TERM_SECONDS, perSecond)
}

function loudest(powers: Float64Array, windowSeconds: number, perSecond: number): LoudestWindow | null {
  const means = windowMeans(powers, windowSeconds * perSecond)
  let place = 0
  for (let i = 1; i < means.length; i++) if ((means[i] as number) > (means[place] as number)) place = i
  const power = means[place] ?? 0
  return power === 0 ? null : { loudnessLkfs: loudnessOf(power), startSeconds: place / perSecond }
}
