import type { LoudnessCurve, LoudnessCurves } from '../delivery.ts'
import type { FrameRange } from '../frame-range.ts'
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

/**
 * The same with nothing in the windows that reach out of the stretches of programme: -Infinity, as in silence.
 * @param programme in order, without overlap; absent: all of it
 */
export function curvesWithin(
  curves: LoudnessCurves,
  programme: readonly FrameRange[] | undefined,
  sampleRateHz: number,
): LoudnessCurves {
  if (programme === undefined) return curves
  const within = ({ lkfs, hopSeconds, windowSeconds }: LoudnessCurve): LoudnessCurve => {
    const kept = new Float64Array(lkfs.length).fill(Number.NEGATIVE_INFINITY)
    for (const { startFrame, endFrame } of programme) {
      const first = Math.ceil(startFrame / sampleRateHz / hopSeconds - BETWEEN_HOPS)
      const last = Math.floor((endFrame / sampleRateHz - windowSeconds) / hopSeconds + BETWEEN_HOPS)
      if (last >= first) kept.set(lkfs.subarray(first, last + 1), first)
    }
    return { lkfs: kept, hopSeconds, windowSeconds }
  }
  return { momentary: within(curves.momentary), shortTerm: within(curves.shortTerm) }
}

/** A border on the grid is one, whatever the last bit of a division says. */
const BETWEEN_HOPS = 1e-6
