import type { LoudnessCurve } from '../../domain/index.ts'

/** A stretch in which a curve stands above a limit. */
export type Excess = { readonly startSeconds: number; readonly endSeconds: number; readonly highestLkfs: number }

/** Stretches with less than this between them are one place to the mixer. Our own choice. */
const JOIN_SECONDS = 1

/**
 * Where a loudness curve passes a limit. A place is drawn from the middle of its first window to the middle of its
 * last, so that it lies on the sound and not on the window's reach.
 */
export function placesAbove(curve: LoudnessCurve, isAbove: (lkfs: number) => boolean): readonly Excess[] {
  const places: Excess[] = []
  const { lkfs, hopSeconds, windowSeconds } = curve
  for (let i = 0; i < lkfs.length; i++) {
    const value = lkfs[i] as number
    if (!isAbove(value)) continue
    const centreSeconds = i * hopSeconds + windowSeconds / 2
    const last = places.at(-1)
    if (last !== undefined && centreSeconds - last.endSeconds < JOIN_SECONDS) {
      const highestLkfs = Math.max(last.highestLkfs, value)
      places[places.length - 1] = { ...last, endSeconds: centreSeconds + hopSeconds, highestLkfs }
    } else {
      places.push({ startSeconds: centreSeconds, endSeconds: centreSeconds + hopSeconds, highestLkfs: value })
    }
  }
  return places
}
