import type { ParameterTable } from './parameters.ts'

/** The bands of the multiband stage, lowest first, as its settings and the report name them. */
export const BANDS = [
  { id: 'Low', name: 'low' },
  { id: 'LowMid', name: 'low-mid' },
  { id: 'HighMid', name: 'high-mid' },
  { id: 'High', name: 'high' },
] as const

export type BandName = (typeof BANDS)[number]['name']
type BandId = (typeof BANDS)[number]['id']

type NumberRow = {
  readonly kind: 'number'
  readonly unit: string | null
  readonly min: number
  readonly max: number
  readonly default: number
  readonly glide: 'fixed'
  readonly sentence: string
}

/** The four controls of one band. */
type BandRows<Id extends BandId> = {
  readonly [K in `bands${Id}${'ThresholdDbfs' | 'Ratio' | 'AttackSeconds' | 'ReleaseSeconds'}`]: NumberRow
}

function bandRows<Id extends BandId>(id: Id, name: BandName, attack: number, release: number): BandRows<Id> {
  const row = (unit: string | null, [min, max]: readonly [number, number], preset: number, sentence: string) =>
    ({ kind: 'number', unit, min, max, default: preset, glide: 'fixed', sentence }) as const
  return {
    [`bands${id}ThresholdDbfs`]: row(
      'dBFS',
      [-80, 0],
      0,
      `Threshold of the ${name} band: RMS level, all channels but the LFE together, above which it is turned down.`,
    ),
    [`bands${id}Ratio`]: row(null, [1, 20], 2, `Ratio of the ${name} band: how many dB above its threshold leave one.`),
    [`bands${id}AttackSeconds`]: row(
      's',
      [0.1, 5],
      attack,
      `Attack of the ${name} band: time in which it goes down by 10 dB; it begins as long before.`,
    ),
    [`bands${id}ReleaseSeconds`]: row(
      's',
      [0.1, 30],
      release,
      `Release of the ${name} band: time in which it comes back by 10 dB.`,
    ),
  } as BandRows<Id>
}

function crossover(min: number, max: number, preset: number, between: string): NumberRow {
  const sentence = `Crossover between the ${between}, -6 dB there in both; no phase is turned.`
  return { kind: 'number', unit: 'Hz', min, max, default: preset, glide: 'fixed', sentence }
}

/**
 * The controls of the bands. A threshold of 0 dBFS is above all but a programme that is full scale in every channel: a
 * band rests until it is set.
 * @source crossovers: common practice in multiband work; attack, release and ranges are ours (decision 0032)
 */
export const BAND_PARAMETERS = {
  bands: {
    kind: 'choice',
    unit: null,
    choices: ['lines', 'off', 'auto', 'manual'],
    default: 'lines',
    glide: 'fixed',
    sentence:
      'Turns bands of the programme down, the same on all channels but the LFE and on the stereo: those that a line of ' +
      'the spec limits, with the least movement that meets the line (lines); none (off); the low end where it is in ' +
      'excess, as lowEnd=auto does, and then the lines (auto); or four bands by threshold, ratio, attack and release of ' +
      'each (manual), and then no line is solved, only judged. Manual levels are those before static gain and ride; a ' +
      'band whose threshold is 0 dBFS rests. Where nothing is turned down every sample stays as it is.',
  },
  bandsLowCrossoverHz: crossover(40, 250, 120, 'low and the low-mid band'),
  bandsMidCrossoverHz: crossover(300, 2000, 800, 'low-mid and the high-mid band'),
  bandsHighCrossoverHz: crossover(2500, 12000, 5000, 'high-mid and the high band'),
  ...bandRows('Low', 'low', 0.2, 1),
  ...bandRows('LowMid', 'low-mid', 0.2, 0.6),
  ...bandRows('HighMid', 'high-mid', 0.1, 0.4),
  ...bandRows('High', 'high', 0.1, 0.3),
} as const satisfies ParameterTable
