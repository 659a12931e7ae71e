import { join } from 'node:path'
import { deliverOnce } from './delivering.ts'
import { LIBEBUR128 } from './measuring.ts'
import { FEATURE_SECONDS, feature, stereoMaster, surroundMix } from './music.ts'
import { type Spent, spentByPlimsoll } from './processes.ts'
import type { Table } from './table.ts'

const MOST_MEGABYTES = { measured: 250, delivered: 500 }

/** What a two-hour programme takes: memory must not grow with length. */
export function memory(folder: string): readonly Table[] {
  const source = feature(stereoMaster(folder), join(folder, 'feature.wav'))
  const mix = feature(surroundMix(folder), join(folder, 'feature-51.wav'))
  const measured = (path: string) => spentByPlimsoll(folder, ['measure', path, '--no-speech', '--json', '--quiet'])
  const row = (what: string, most: number, { wallSeconds, cpuSeconds, peakMegabytes }: Spent) => [
    what,
    peakMegabytes,
    most,
    wallSeconds,
    FEATURE_SECONDS / wallSeconds,
    cpuSeconds,
  ]
  const ourMeter = measured(mix)
  const theirSeconds = LIBEBUR128.read(mix).seconds
  const rows = [
    row('5.1 measured', MOST_MEGABYTES.measured, ourMeter),
    row('stereo measured', MOST_MEGABYTES.measured, measured(source)),
    row('stereo delivered', MOST_MEGABYTES.delivered, deliverOnce(source, folder, [])),
  ]
  return [
    {
      title: 'Two hours of 5.1 (6.22 GB) and of stereo (2.07 GB), with as many workers as cores',
      columns: ['', 'peak MB', 'allowed MB', 's', 'x real time', 'CPU s'],
      rows,
      notes: [
        'One run each. Highest resident memory of the process; workers are threads of it.',
        `${LIBEBUR128.name}: ${theirSeconds.toFixed(1)} s on the same 5.1, ${(theirSeconds / ourMeter.wallSeconds).toFixed(1)} times ours.`,
      ],
    },
  ]
}
