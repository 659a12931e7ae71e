// Static gain, the best compressor and the ride beside one another, on one programme and spec.
import { existsSync, readFileSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import type { DeliverySpec } from '../../src/domain/index.ts'
import type { Table } from '../table.ts'
import type { CompressorSettings } from './compressor.ts'
import { figuresUnder } from './compressor.ts'
import { type FitResult, fitted } from './lines.ts'
import { fileNameOf, type Prepared } from './prepared.ts'
import { edgesOf, leastMovingCompressor } from './searched.ts'
import { type Heard, heardUnder } from './sounds.ts'

export type Beside = {
  readonly programme: string
  readonly spec: string
  /** The lines that a static gain alone leaves missed, by name. */
  readonly missedByStatic: readonly string[]
  readonly fitConforms: boolean
  readonly ours: Heard
  readonly compressor: (Heard & { readonly settings: CompressorSettings }) | null
  /** The same with releases up to two minutes. */
  readonly holding: (Heard & { readonly settings: CompressorSettings }) | null
}

export async function compared(programme: Prepared, spec: DeliverySpec, folder: string): Promise<Beside> {
  const kept = join(folder, `${fileNameOf(programme.recipe)}.${spec.id}.beside.json`)
  if (existsSync(kept)) return JSON.parse(readFileSync(kept, 'utf8'))
  const fit: FitResult = await fitted(programme, spec, folder)
  const { mix10ms } = programme
  const way = leastMovingCompressor(mix10ms, spec)
  const holding = leastMovingCompressor(mix10ms, spec, Number.POSITIVE_INFINITY)
  const beside: Beside = {
    programme: programme.recipe.name,
    spec: spec.id,
    missedByStatic: missedUnderStatic(mix10ms, spec),
    fitConforms: fit.conforms,
    ours: { ...heardUnder(Float64Array.from(fit.rideDb), programme), ...reported(fit) },
    compressor: way === null ? null : { ...heardUnder(way.gainDb, programme), settings: way.settings },
    holding: holding === null ? null : { ...heardUnder(holding.gainDb, programme), settings: holding.settings },
  }
  writeFileSync(kept, JSON.stringify(beside))
  return beside
}

/** What the report says of the ride itself: on the same grid of 100 ms, and free of what the ceiling did. */
function reported({ ride }: FitResult) {
  return {
    movementDb: ride?.movementDb ?? 0,
    slewDbPerSecond: ride?.largestSlewDbPerSecond ?? 0,
    areaDbSeconds: ride?.areaUnderReductionDbSeconds ?? 0,
    movingShare: ride?.movingShare ?? 0,
  }
}

function missedUnderStatic(energies: Float64Array, spec: DeliverySpec): string[] {
  const figures = figuresUnder(energies, new Float64Array(energies.length))
  const gainDb = spec.programmeLoudness.targetLkfs - figures.totalLkfs
  const over = (name: string, value: number, limit: { value: number } | undefined) =>
    limit !== undefined && value > limit.value ? [name] : []
  return [
    ...over('short-term', figures.maxShortTermLkfs + gainDb, spec.maxShortTermLkfs),
    ...over('momentary', figures.maxMomentaryLkfs + gainDb, spec.maxMomentaryLkfs),
    ...over('range', figures.rangeLu, spec.maxLoudnessRangeLu),
  ]
}

const two = (ours: number, theirs: number | undefined, decimals = 1) =>
  `${ours.toFixed(decimals)} / ${theirs === undefined ? '-' : theirs.toFixed(decimals)}`

/** Programmes that a static gain does not bring within the lines: ours / the least moving compressor. */
export function conventionTable(all: readonly Beside[]): Table {
  const forced = all.filter(({ missedByStatic }) => missedByStatic.length > 0)
  return {
    title: 'Beside the least moving conforming compressor: ours / compressor',
    columns: [
      'spec',
      'programme',
      'static misses',
      'movement dB',
      'ratio',
      'slew dB/s',
      'area dB s',
      'correlation',
      'peak to short-term dB',
      'crest 400 ms dB',
      'crest p95 dB',
      'modulation 0.5 1 2 4 8 Hz: ours',
      'compressor',
      'dialogue LU',
      'lines moved > 0.5',
      'compressor settings',
      'release to 120 s: movement, area, correlation',
    ],
    rows: forced.map(({ spec, programme, missedByStatic, fitConforms, ours, compressor, holding }) => {
      const hz = (heard: Heard | null) => heard?.modulationDb.map((db) => db.toFixed(2)).join(' ') ?? '-'
      return [
        spec,
        programme + (fitConforms ? '' : ' (ours does not conform)'),
        missedByStatic.join(' '),
        two(ours.movementDb, compressor?.movementDb),
        compressor === null ? '-' : (compressor.movementDb / ours.movementDb).toFixed(2),
        two(ours.slewDbPerSecond, compressor?.slewDbPerSecond),
        two(ours.areaDbSeconds, compressor?.areaDbSeconds, 0),
        two(ours.correlation, compressor?.correlation, 4),
        two(ours.peakToShortTermDb, compressor?.peakToShortTermDb, 2),
        two(ours.crestDb, compressor?.crestDb, 3),
        two(ours.crestWorstDb, compressor?.crestWorstDb, 2),
        hz(ours),
        hz(compressor),
        two(ours.dialogueLu, compressor?.dialogueLu, 2),
        `${ours.linesMoved} / ${compressor?.linesMoved ?? '-'} of ${ours.lines}`,
        compressor === null ? 'none conforms' : settingsIn(compressor),
        holding === null
          ? '-'
          : `${holding.movementDb.toFixed(1)} ${holding.areaDbSeconds.toFixed(0)} ${holding.correlation.toFixed(3)}`,
      ]
    }),
    notes: [],
  }
}

function settingsIn({ settings }: NonNullable<Beside['compressor']>): string {
  const edges = edgesOf(settings)
  const { attackSeconds, releaseSeconds, ratio, thresholdLkfs } = settings
  const edge = edges.length === 0 ? '' : ` (edge: ${edges.join(', ')})`
  return `${attackSeconds}/${releaseSeconds} s ${ratio}:1 at ${thresholdLkfs.toFixed(1)}${edge}`
}
