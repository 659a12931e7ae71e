import { dbToGain } from '../../domain/index.ts'

/**
 * The gain of points at a frame, linear: a straight line in dB between the centres of two 100 ms, held before the first
 * and after the last, as a render writes it.
 * @param pointsDb one for each begun 100 ms; null: nothing is moved
 */
export function pointGainAt(pointsDb: Float64Array | null, frame: number, hopFrames: number): number {
  if (pointsDb === null) return 1
  const last = pointsDb.length - 1
  const at = frame / hopFrames - 0.5
  const index = Math.floor(at)
  const from = pointsDb[Math.min(last, Math.max(0, index))]!
  const to = pointsDb[Math.min(last, Math.max(0, index + 1))]!
  return from === 0 && to === 0 ? 1 : dbToGain(from + (to - from) * (at - index))
}
