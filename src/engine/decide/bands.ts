import {
  BANDS,
  type BandsPlan,
  type FitSettings,
  type FrameRange,
  floorToGainStep,
  powerToDb,
} from '../../domain/index.ts'
import { attackAndRelease, isInside } from './planned-reduction.ts'

/** The bands of a programme: the mean square of each band of each channel in each 100 ms, as `bandSquares` gives it. */
export type BandLevels = {
  readonly squares: Float64Array
  /** Channels that were looked at, the LFE not among them. */
  readonly channelCount: number
  readonly sampleRateHz: number
  /** The stretches that are treated; absent: everything. */
  readonly programme?: readonly FrameRange[] | undefined
}

/** Where the bands of the settings meet, lowest first. */
export function crossoversOf(settings: FitSettings): readonly number[] {
  return [settings.bandsLowCrossoverHz, settings.bandsMidCrossoverHz, settings.bandsHighCrossoverHz]
}

/**
 * What threshold, ratio, attack and release of each band make of a programme; null where every band rests. The gain of a
 * band is common to all channels: its level is the sum of their powers, so none of them moves against another.
 */
export function planBands(levels: BandLevels, settings: FitSettings): BandsPlan | null {
  if (settings.bands !== 'manual' || settings.stages === 'trims') return null
  const gainsDb = BANDS.map((_, band) => bandGain(levels, settings, band))
  return gainsDb.every((gainDb) => gainDb === null) ? null : { crossoversHz: crossoversOf(settings), gainsDb }
}

function bandGain(levels: BandLevels, settings: FitSettings, band: number): Float64Array | null {
  const { thresholdDbfs, ratio, attackSeconds, releaseSeconds } = dialsOf(settings, band)
  const isIn = isInside(levels.programme, levels.sampleRateHz)
  const gainDb = levelsOf(levels, band).map((power, hop) => {
    const overDb = power > 0 && isIn(hop) ? powerToDb(power) - thresholdDbfs : 0
    return overDb > 0 ? (1 / ratio - 1) * overDb : 0
  })
  attackAndRelease(gainDb, attackSeconds, releaseSeconds)
  const planned = gainDb.map((db, hop) => (isIn(hop) ? floorToGainStep(db) : 0))
  return planned.every((db) => db === 0) ? null : planned
}

/** Power of a band, all channels together, in each 100 ms. */
function levelsOf({ squares, channelCount }: BandLevels, band: number): Float64Array {
  const perHop = channelCount * BANDS.length
  const powers = new Float64Array(squares.length / perHop)
  for (let hop = 0; hop < powers.length; hop++) {
    let sum = 0
    for (let at = hop * perHop + band; at < (hop + 1) * perHop; at += BANDS.length) sum += squares[at] as number
    powers[hop] = sum
  }
  return powers
}

function dialsOf(settings: FitSettings, band: number) {
  const { id } = BANDS[band] as (typeof BANDS)[number]
  return {
    thresholdDbfs: settings[`bands${id}ThresholdDbfs`],
    ratio: settings[`bands${id}Ratio`],
    attackSeconds: settings[`bands${id}AttackSeconds`],
    releaseSeconds: settings[`bands${id}ReleaseSeconds`],
  }
}
