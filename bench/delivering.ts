import { rmSync } from 'node:fs'
import { join } from 'node:path'
import { MASTER_SECONDS, stereoMaster } from './music.ts'
import { type Spent, spentByPlimsoll } from './processes.ts'
import { median, type Table } from './table.ts'

const WORKERS = [2, 1]
export const SPEC = 'atsc-a85-short'

/** Delivers into a fresh folder, which is removed afterwards; the removal is not part of the time. */
export function deliverOnce(source: string, folder: string, args: readonly string[]): Spent {
  const out = join(folder, 'delivery')
  const spent = spentByPlimsoll(folder, ['deliver', source, '--spec', SPEC, '--out', out, '--json', '--quiet', ...args])
  rmSync(out, { recursive: true })
  return spent
}

/** The whole job on a ten-minute stereo master: upmix, fit, render, verification, reports, everything on the disk. */
export function delivering(folder: string, rounds: number): readonly Table[] {
  const master = stereoMaster(folder)
  const deliver = (workers: number) => deliverOnce(master, folder, ['--workers', String(workers)])
  const report = JSON.parse(deliver(WORKERS[0] as number).stdout)
  const runs = Array.from({ length: rounds }, () => WORKERS.map(deliver))
  const rows = WORKERS.map((workers, index) => {
    const spent = runs.map((round) => round[index] as Spent)
    const seconds = spent.map((run) => run.wallSeconds)
    return [
      `${workers}`,
      median(seconds),
      Math.min(...seconds),
      MASTER_SECONDS / median(seconds),
      median(spent.map((run) => run.cpuSeconds)),
      MASTER_SECONDS / median(spent.map((run) => run.cpuSeconds)),
      Math.max(...spent.map((run) => run.peakMegabytes)),
    ]
  })
  const { events } = report.alteration.ceiling ?? { events: 0 }
  return [
    {
      title: `Delivering a 10-minute stereo master (${SPEC}), whole process`,
      columns: ['workers', 'median s', 'least s', 'x real time', 'CPU s', 'x real time of CPU', 'peak MB'],
      rows,
      notes: [
        `${rounds} rounds after a warm-up. ${report.passes} render(s), ceiling at work ${events} times, ` +
          `conforms: ${report.conforms}.`,
        'CPU s: user and system seconds of all threads together.',
      ],
    },
  ]
}
