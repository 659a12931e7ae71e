import { framesPerHop } from '../../domain/index.ts'
import type { Curves } from './numbers.ts'

const HALF_WINDOW_HOPS = 15

/** Where the loudest 3 s begin; the start where nothing is heard. */
export function loudestFrame({ shortTerm }: Curves, frameCount: number, sampleRateHz: number): number {
  let loudest = 0
  for (let hop = 1; hop < shortTerm.length; hop++) {
    if ((shortTerm[hop] ?? 0) > (shortTerm[loudest] || 0)) loudest = hop
  }
  const first = Math.max(0, loudest - HALF_WINDOW_HOPS) * framesPerHop(sampleRateHz)
  return Math.min(first, Math.max(0, frameCount - 1))
}
