import { type FrameRange, framesPerHop, HOPS_PER_SECOND } from '../../domain/index.ts'

/** Attack and release are times for this much. */
const RATED_DB = 10

/**
 * Lets a reduction (dB, 0 or less, one value each 100 ms, changed in place) come at the slope of its attack and go at
 * that of its release. It is down when what needs it comes: the whole programme is known, so it begins before.
 */
export function attackAndRelease(gainDb: Float64Array, attackSeconds: number, releaseSeconds: number): void {
  const perHop = (seconds: number) => RATED_DB / (seconds * HOPS_PER_SECOND)
  for (let k = 1; k < gainDb.length; k++) {
    gainDb[k] = Math.min(gainDb[k] as number, (gainDb[k - 1] as number) + perHop(releaseSeconds))
  }
  for (let k = gainDb.length - 2; k >= 0; k--) {
    gainDb[k] = Math.min(gainDb[k] as number, (gainDb[k + 1] as number) + perHop(attackSeconds))
  }
}

/** Whether any frame of a 100 ms hop lies in the programme; without one, all do. */
export function isInside(programme: readonly FrameRange[] | undefined, sampleRateHz: number): (hop: number) => boolean {
  if (programme === undefined) return () => true
  const hopFrames = framesPerHop(sampleRateHz)
  return (hop) =>
    programme.some(({ startFrame, endFrame }) => (hop + 1) * hopFrames > startFrame && hop * hopFrames < endFrame)
}
