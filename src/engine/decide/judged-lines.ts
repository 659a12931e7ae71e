import { type DeliverySpec, FINE_HOPS_PER_SECOND, type Limit, type Measured } from '../../domain/index.ts'
import { highestOf } from './highest.ts'
import { loudnessOfEnergy, windowEnergies } from './loudness-shim.ts'

/** The two signals of one deliverable pair: the mix itself and its stereo fold-down. */
export type JudgedSignal = 'programme' | 'foldDown'

/** Window of short-term loudness. @source EBU Tech 3341 */
export const SHORT_TERM_FINE_HOPS = 3 * FINE_HOPS_PER_SECOND
/** Window of momentary loudness and of a gating block. @source EBU Tech 3341; ITU-R BS.1770-5 Annex 1 */
export const MOMENTARY_FINE_HOPS = 0.4 * FINE_HOPS_PER_SECOND

/** An upper line of the spec on the loudness of every window of one signal. */
export type WindowLine = {
  readonly field: 'maxShortTermLkfs' | 'maxMomentaryLkfs'
  readonly signal: JudgedSignal
  readonly windowFineHops: number
  readonly limit: Limit
  /** The limit minus the gain that this signal gets on top of the common one. */
  readonly limitLkfs: number
  readonly energies: Float64Array
}

/**
 * The window lines that bind the gain: those whose miss fails the delivery, on every signal that is judged.
 * A line that only warns moves no mix.
 */
export function windowLines(measured: Measured, spec: DeliverySpec, stereoGainDb: number): WindowLine[] {
  const signals = [
    { signal: 'programme', energies: measured.programme10ms, ownGainDb: 0 },
    { signal: 'foldDown', energies: measured.foldDown10ms, ownGainDb: stereoGainDb },
  ] as const
  const fields = [
    { field: 'maxShortTermLkfs', windowFineHops: SHORT_TERM_FINE_HOPS, limit: spec.maxShortTermLkfs },
    { field: 'maxMomentaryLkfs', windowFineHops: MOMENTARY_FINE_HOPS, limit: spec.maxMomentaryLkfs },
  ] as const
  return signals.flatMap(({ signal, energies, ownGainDb }) =>
    fields.flatMap(({ field, windowFineHops, limit }) =>
      energies !== null && limit?.severity === 'fail'
        ? [{ field, signal, windowFineHops, limit, limitLkfs: limit.value - ownGainDb, energies }]
        : [],
    ),
  )
}

/** The loudest window of a signal; null where it is shorter than the window, or silent. */
export function loudestWindowLkfs(energies: Float64Array, windowFineHops: number): number | null {
  const loudest = highestOf(windowEnergies(energies, windowFineHops))
  return loudest > 0 ? loudnessOfEnergy(loudest) : null
}

const NAMES = { maxShortTermLkfs: 'short-term', maxMomentaryLkfs: 'momentary' } as const

/** The line in words, e.g. `the short-term line of the fold-down`. */
export function nameOfLine(line: Pick<WindowLine, 'field' | 'signal'>): string {
  return `the ${NAMES[line.field]} line${line.signal === 'foldDown' ? ' of the fold-down' : ''}`
}
