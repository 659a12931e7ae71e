import { probe } from '../src/media/index.ts'
import { libebur128Probe } from '../test/peers/outside-meters.ts'
import { denseMaster, MASTER_SECONDS, surroundMix } from './music.ts'
import { timed, timedPlimsoll } from './processes.ts'
import { median, type Table } from './table.ts'

type Meter = { readonly name: string; read(path: string): { readonly seconds: number; readonly totalLkfs: number } }

function ours(workers: number): Meter {
  const options = ['--workers', String(workers), '--no-speech', '--json', '--quiet']
  return {
    name: `plimsoll measure --workers ${workers}`,
    read(path) {
      const { wallSeconds, stdout } = timedPlimsoll(['measure', path, ...options])
      return { seconds: wallSeconds, totalLkfs: JSON.parse(stdout).files[0].programmeLoudnessLkfs }
    },
  }
}

/** The library of the system, in one thread: it has no other way. */
export const LIBEBUR128: Meter = {
  name: 'libebur128, I + LRA + true peak',
  read(path) {
    const { location } = probe(path)
    if (location === null) throw new Error(`${path} is no plain PCM`)
    const { dataByteOffset, frameCount, format } = location
    const shape = [dataByteOffset, frameCount, format.channelCount, format.sampleRateHz, 24]
    const { wallSeconds, stdout } = timed(libebur128Probe(), [path, ...shape.map(String), 'fast'])
    return { seconds: wallSeconds, totalLkfs: JSON.parse(stdout).programmeLoudnessLkfs }
  },
}

const METERS: readonly Meter[] = [
  ours(1),
  ours(2),
  LIBEBUR128,
  {
    name: 'FFmpeg ebur128=peak=true',
    read(path) {
      const filter = ['-af', 'ebur128=peak=true:framelog=verbose', '-f', 'null', '-']
      const { wallSeconds, stderr } = timed('ffmpeg', ['-hide_banner', '-nostats', '-i', path, ...filter])
      return { seconds: wallSeconds, totalLkfs: Number(/I:\s+(-?[\d.]+) LUFS/.exec(stderr)?.[1]) }
    },
  },
]

/** Our meter, without the search for dialogue, beside two others: whole processes, input in the page cache, one after the other in every round. */
export function measuring(folder: string, rounds: number): readonly Table[] {
  return [
    compare('Measuring 10 min of 5.1, 48 kHz, 24 bit, with true peak', surroundMix(folder), rounds),
    compare('Measuring 10 min of densely limited stereo, 48 kHz, 24 bit, with true peak', denseMaster(folder), rounds),
  ]
}

function compare(title: string, path: string, rounds: number): Table {
  const totals = METERS.map((meter) => meter.read(path).totalLkfs)
  const times = Array.from({ length: rounds }, () => METERS.map((meter) => meter.read(path).seconds))
  const rows = METERS.map(({ name }, index) => {
    const seconds = times.map((round) => round[index] as number)
    const ratios = (ourMeter: number) => {
      return median(times.map((round) => (round[index] as number) / (round[ourMeter] as number)))
    }
    return [
      name,
      median(seconds),
      Math.min(...seconds),
      MASTER_SECONDS / median(seconds),
      ratios(0),
      ratios(1),
      (totals[index] as number).toFixed(1),
    ]
  })
  return {
    title,
    columns: ['meter', 'median s', 'least s', 'x real time', 'time / one worker', 'time / two', 'reads LKFS'],
    rows,
    notes: [
      `${rounds} rounds after a warm-up; "time / ..." is the median of the ratios to our time within each round.`,
    ],
  }
}
