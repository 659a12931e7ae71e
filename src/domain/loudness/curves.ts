import type { LoudnessCurve, LoudnessCurves } from '../delivery.ts'
import { assert } from '../findings.ts'
import { FINE_HOPS_PER_SECOND, framesPerFineHop } from '../grid.ts'
import type { Measured, MeasuredPart } from '../measurements.ts'
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
 * The same over the whole length of the file or files of which `parts` were measured. Where a window would reach out
 * of its part there is no value: -Infinity, as in silence. Parts are drawn to the nearest 10 ms.
 */
export function curvesOfParts(parts: readonly MeasuredPart[], frameCount: number): LoudnessCurves {
  const [first] = parts
  assert(first !== undefined, 'a programme has at least one part')
  const { sampleRateHz } = first.measured
  const curves = parts.map(({ measured }) => loudnessCurves(measured))
  const fineHops = Math.floor(frameCount / framesPerFineHop(sampleRateHz))
  const spread = (name: keyof LoudnessCurves): LoudnessCurve => {
    const { windowSeconds, hopSeconds } = (curves[0] as LoudnessCurves)[name]
    const windows = Math.max(0, fineHops - Math.round(windowSeconds * FINE_HOPS_PER_SECOND) + 1)
    const lkfs = new Float64Array(windows).fill(Number.NEGATIVE_INFINITY)
    for (const [index, { startFrame }] of parts.entries()) {
      const start = Math.round(startFrame / framesPerFineHop(sampleRateHz))
      const values = (curves[index] as LoudnessCurves)[name].lkfs
      lkfs.set(values.subarray(0, Math.max(0, windows - start)), Math.min(start, windows))
    }
    return { windowSeconds, hopSeconds, lkfs }
  }
  return { momentary: spread('momentary'), shortTerm: spread('shortTerm') }
}
