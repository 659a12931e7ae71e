// What the fit calls infeasible, asked of a linear programme that is not ours.
import { execFileSync } from 'node:child_process'
import type { DeliverySpec } from '../../src/domain/index.ts'
import type { Table } from '../table.ts'
import { figuresUnder } from './compressor.ts'
import type { FitResult } from './lines.ts'
import type { Prepared } from './prepared.ts'

export type Refused = { readonly fit: FitResult; readonly programme: Prepared; readonly spec: DeliverySpec }

/** The fastest that a ride may move anywhere: under an attack. */
const SLEW_DB_PER_SECOND = 60

export function confirmedTable(refused: readonly Refused[]): Table {
  const tasks = refused.map(({ programme: { mix10ms }, spec }) => {
    const { totalLkfs } = figuresUnder(mix10ms, new Float64Array(mix10ms.length))
    return {
      energies: Array.from({ length: Math.floor(mix10ms.length / 10) }, (_, hop) => {
        return mix10ms.subarray(hop * 10, hop * 10 + 10).reduce((sum, energy) => sum + energy, 0) / 10
      }),
      lines: [
        [3, spec.maxShortTermLkfs?.value],
        [0.4, spec.maxMomentaryLkfs?.value],
      ].filter(([, lkfs]) => lkfs !== undefined),
      rangeLu: spec.maxLoudnessRangeLu?.value ?? null,
      slewDbPerSecond: SLEW_DB_PER_SECOND,
      staticGainDb: spec.programmeLoudness.targetLkfs - totalLkfs,
    }
  })
  const script = new URL('confirm.py', import.meta.url).pathname
  const options = { input: JSON.stringify(tasks), maxBuffer: 1 << 26 }
  const answers: { loudestLkfs: number | null; message: string }[] =
    tasks.length === 0 ? [] : JSON.parse(execFileSync('/usr/bin/python3', [script], options).toString())
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
