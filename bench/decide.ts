import { type DeliverySpec, defaultSettings, FIT_PARAMETERS } from '../src/domain/index.ts'
import { ceilingCandidates, chooseGains } from '../src/engine/decide/index.ts'
import { dramaEnergies, measuredOf } from '../test/testkit/programmes.ts'
import { limit, specOf } from '../test/testkit/specs.ts'
import { median, type Table } from './table.ts'

const SECONDS = 7200

const TOTAL_ONLY = specOf(-24, 0.2, { maxTruePeakDbtp: limit(-2) })
const ALL_WINDOWS = { ...TOTAL_ONLY, maxShortTermLkfs: limit(-18), maxMomentaryLkfs: limit(-14) }
const WITH_RANGE = { ...ALL_WINDOWS, maxLoudnessRangeLu: limit(8) }

/** How long the decision on a two-hour programme takes, in processor time, 5.1 and fold-down judged. */
export function deciding(rounds: number): Table {
  const programme = dramaEnergies(SECONDS, 1)
  const foldDown = programme.map((energy, i) => energy * (1.1 + 0.1 * Math.sin(i / 500)))
  const measured = measuredOf(programme, foldDown)
  const settings = defaultSettings(FIT_PARAMETERS)
  const row = (name: string, spec: DeliverySpec) => {
    let movementDb = 0
    const milliseconds = Array.from({ length: rounds + 1 }, () => {
      const start = process.cpuUsage()
      const { plan, certificate } = chooseGains(measured, spec, settings)
      ceilingCandidates(measured, plan)
      movementDb = certificate?.movementDb ?? 0
      return process.cpuUsage(start).user / 1000
    }).slice(1)
    return [name, median(milliseconds), Math.min(...milliseconds), movementDb]
  }
  return {
    title: 'Deciding on a two-hour programme',
    columns: ['lines of the spec', 'median ms of user time', 'least', 'movement dB'],
    rows: [
      row('total only', TOTAL_ONLY),
      row('short-term and momentary, 5.1 and fold-down', ALL_WINDOWS),
      row('the same and a range of 8 LU', WITH_RANGE),
    ],
    notes: ['On energies of an invented drama; a warm-up goes before.'],
  }
}
