import type { TrackTimecode } from '../../../domain/index.ts'
import type { LabelRun } from './evidence.ts'
import { framesPerLook } from './grid.ts'
import { countsOn } from './labels.ts'

/** A run of labels with its place on the looks. */
export type PlacedRun = Omit<LabelRun, 'side'> & {
  readonly side: 'left' | 'right'
  readonly firstLook: number
  readonly endLook: number
  readonly measuredRate: number
}

/** Joins runs that go on across segments and places them. */
export function placeRuns(runs: readonly LabelRun[], sampleRateHz: number): PlacedRun[] {
  const joined: LabelRun[] = []
  for (const run of runs.toSorted((a, b) => a.side - b.side || a.firstPosition - b.firstPosition)) {
    const known = joined.at(-1)
    if (known === undefined || known.side !== run.side || !countsOn(known.last, run.first)) joined.push(run)
    else {
      const count = known.count + run.count
      joined[joined.length - 1] = { ...known, count, last: run.last, lastPosition: run.lastPosition }
    }
  }
  return joined.map((run) => {
    const labelFrames = (run.lastPosition - run.firstPosition) / (run.count - 1)
    return {
      ...run,
      side: run.side === 0 ? 'left' : 'right',
      measuredRate: sampleRateHz / labelFrames,
      firstLook: run.firstPosition / framesPerLook(sampleRateHz),
      endLook: (run.lastPosition + labelFrames) / framesPerLook(sampleRateHz),
    }
  })
}

/** @source SMPTE ST 12-1: the rates of linear timecode */
const RATES = [
  ['23.976', 24000 / 1001],
  ['24', 24],
  ['25', 25],
  ['29.97', 30000 / 1001],
  ['30', 30],
] as const

export function describeRun(run: PlacedRun): TrackTimecode {
  const distance = (rate: number) => Math.abs(rate - run.measuredRate)
  const [rate] = RATES.reduce((best, each) => (distance(each[1]) < distance(best[1]) ? each : best))
  const label = (fields: readonly number[]) => {
    const [hours, minutes, seconds, frames] = fields.map((field) => String(field).padStart(2, '0'))
    return `${hours}:${minutes}:${seconds}${run.isDrop ? ';' : ':'}${frames}`
  }
  return {
    side: run.side,
    measuredRate: Math.round(run.measuredRate * 1e4) / 1e4,
    rate: run.isDrop ? `${rate} drop` : rate,
    firstLabel: label(run.first),
    lastLabel: label(run.last),
    firstLabelFrame: Math.round(run.firstPosition),
    labelCount: run.count,
  }
}
