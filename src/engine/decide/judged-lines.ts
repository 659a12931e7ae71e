import {
  type DeliverySpec,
  FINE_HOPS_PER_SECOND,
  type Limit,
  type Measured,
  MOMENTARY_SECONDS,
  SHORT_TERM_SECONDS,
} from '../../domain/index.ts'

/** The two signals of one deliverable pair: the mix itself and its stereo fold-down. */
export type JudgedSignal = 'programme' | 'foldDown'

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
    {
      field: 'maxShortTermLkfs',
      windowFineHops: SHORT_TERM_SECONDS * FINE_HOPS_PER_SECOND,
      limit: spec.maxShortTermLkfs,
    },
    {
      field: 'maxMomentaryLkfs',
      windowFineHops: MOMENTARY_SECONDS * FINE_HOPS_PER_SECOND,
      limit: spec.maxMomentaryLkfs,
    },
  ] as const
  return signals.flatMap(({ signal, energies, ownGainDb }) =>
    fields.flatMap(({ field, windowFineHops, limit }) =>
      energies !== null && limit?.severity === 'fail'
        ? [{ field, signal, windowFineHops, limit, limitLkfs: limit.value - ownGainDb, energies }]
        : [],
    ),
  )
}

const NAMES = { maxShortTermLkfs: 'short-term', maxMomentaryLkfs: 'momentary' } as const

/** The line in words, e.g. `the short-term line of the fold-down`. */
export function nameOfLine(line: Pick<WindowLine, 'field' | 'signal'>): string {
  return `the ${NAMES[line.field]} line${line.signal === 'foldDown' ? ' of the fold-down' : ''}`
}
