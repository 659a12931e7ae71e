import { deliverOnce } from './delivering.ts'
import { FEATURE_SECONDS, feature, stereoMaster } from './music.ts'
import { type Spent, spentByPlimsoll } from './processes.ts'
import type { Table } from './table.ts'

const MOST_MEGABYTES = { measured: 250, delivered: 500 }

/** What a two-hour programme takes: memory must not grow with length. */
export function memory(folder: string): readonly Table[] {
  const source = feature(stereoMaster(folder), folder)
  const row = (what: string, most: number, { wallSeconds, cpuSeconds, peakMegabytes }: Spent) => [
    what,
    peakMegabytes,
    most,
    wallSeconds,
    FEATURE_SECONDS / wallSeconds,
    cpuSeconds,
  ]
  const rows = [
    row('measured', MOST_MEGABYTES.measured, spentByPlimsoll(folder, ['measure', source, '--json', '--quiet'])),
    row('delivered', MOST_MEGABYTES.delivered, deliverOnce(source, folder, [])),
  ]
  return [
    {
      title: 'A two-hour stereo master, 2.07 GB, with as many workers as cores',
      columns: ['', 'peak MB', 'allowed MB', 's', 'x real time', 'CPU s'],
      rows,
      notes: ['One run each. Highest resident memory of the process; workers are threads of it.'],
    },
  ]
}
