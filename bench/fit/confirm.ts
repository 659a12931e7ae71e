// What the fit calls infeasible, asked of a linear programme that is not ours.
import { execFileSync } from 'node:child_process'
import type { DeliverySpec } from '../../src/domain/index.ts'
import type { Table } from '../table.ts'
import { figuresUnder } from './compressor.ts'
import type { FitResult } from './lines.ts'
import type { Prepared } from './prepared.ts'

export type Refused = { readonly fit: FitResult; readonly programme: Prepared; readonly spec: DeliverySpec }

/** The fastest that a ride may move anywhere: under an attack. */
export const SLEW_DB_PER_SECOND = 60

/** A stretch of 100 ms points, [first, end), in which the gain may change by so much. */
export type BearableSpan = readonly [first: number, end: number, mostDb: number]

/** Bringing a programme within a spec, as a linear programme is asked. */
export function taskOf({ mix10ms }: Prepared, spec: DeliverySpec, spans: readonly BearableSpan[] = []) {
  const { totalLkfs } = figuresUnder(mix10ms, new Float64Array(mix10ms.length))
  return {
    energies: Array.from({ length: Math.floor(mix10ms.length / 10) }, (_, hop) => {
      return mix10ms.subarray(hop * 10, hop * 10 + 10).reduce((sum, energy) => sum + energy, 0) / 10
    }),
    lines: [
      [3, spec.maxShortTermLkfs?.value],
      [0.4, spec.maxMomentaryLkfs?.value],
    ].filter(([, lkfs]) => lkfs !== undefined),
    rangeLu: spec.maxLoudnessRangeLu?.severity === 'fail' ? spec.maxLoudnessRangeLu.value : null,
    slewDbPerSecond: SLEW_DB_PER_SECOND,
    staticGainDb: spec.programmeLoudness.targetLkfs - totalLkfs,
    spans,
  }
}

/** The loudest total that any gains reach within the lines; null: none meets them. */
export function loudestTotals(tasks: readonly ReturnType<typeof taskOf>[]): { readonly loudestLkfs: number | null }[] {
  return tasks.length === 0 ? [] : askPython('confirm.py', tasks)
}

export function askPython<T>(script: string, tasks: readonly object[]): T {
  const options = { input: JSON.stringify(tasks), maxBuffer: 1 << 26 }
  return JSON.parse(execFileSync('/usr/bin/python3', [new URL(script, import.meta.url).pathname], options).toString())
}

export function confirmedTable(refused: readonly Refused[]): Table {
  const answers = loudestTotals(refused.map(({ programme, spec }) => taskOf(programme, spec)))
  return {
    title: 'Called infeasible, and the loudest total that a linear programme reaches within the same lines',
    columns: ['spec', 'programme', 'least total LKFS', 'linear programme LKFS', 'confirmed', 'places s'],
    rows: refused.map(({ fit, spec }, index) => {
      const { targetLkfs, toleranceBelowLu } = spec.programmeLoudness
      const loudest = answers[index]?.loudestLkfs ?? null
      return [
        spec.id,
        fit.programme,
        (targetLkfs - toleranceBelowLu).toFixed(1),
        loudest === null ? 'none' : loudest.toFixed(2),
        loudest === null || loudest < targetLkfs - toleranceBelowLu ? 'yes' : 'NO: there is a way',
        fit.places
          .map(({ startSeconds, endSeconds }) => `${startSeconds.toFixed(1)}-${endSeconds.toFixed(1)}`)
          .join(' '),
      ]
    }),
    notes: [],
  }
}
