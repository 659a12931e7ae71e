import type { LoudnessCurves } from '../delivery.ts'
import { FINE_HOPS_PER_SECOND } from '../grid.ts'
import type { Measured } from '../measurements.ts'
import { MOMENTARY_SECONDS, momentary, SHORT_TERM_SECONDS, shortTerm } from './windows.ts'

/** Momentary and short-term loudness of a programme over time, on the 10 ms grid on which their maxima are found. */
export function loudnessCurves(measured: Measured): LoudnessCurves {
  const hopSeconds = 1 / FINE_HOPS_PER_SECOND
  return {
    momentary: { windowSeconds: MOMENTARY_SECONDS, hopSeconds, lkfs: momentary(measured.programme10ms) },
    shortTerm: { windowSeconds: SHORT_TERM_SECONDS, hopSeconds, lkfs: shortTerm(measured.programme10ms) },
  }
}
