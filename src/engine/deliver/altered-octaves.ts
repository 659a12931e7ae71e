import {
  type Alteration,
  type AlterationHistory,
  HOPS_PER_SECOND,
  OCTAVE_COUNT,
  OCTAVES_HZ,
  powerToDb,
} from '../../domain/index.ts'
import { columnSecondsFor, greatestInColumns } from './thin.ts'

/** Powers of each octave in each 100 ms hop, before and after the fit; 0 where nothing but the static gain acted. */
export type OctaveHistory = {
  readonly isActing: Uint8Array
  readonly octavesBefore: Float64Array
  readonly octavesAfter: Float64Array
}

/** Softer than this an octave holds nothing that could be taken away: -110 dBFS. */
const SILENT_POWER = 1e-11

/** What each octave lost while something acted; null where nothing did. */
export function alteredOctaves(history: OctaveHistory): Alteration['octaves'] {
  const { isActing } = history
  const acting = isActing.reduce((sum, each) => sum + each, 0)
  if (acting === 0) return null
  return {
    actingShare: acting / isActing.length,
    removed: OCTAVES_HZ.map((centreHz, octave) => ({
      centreHz,
      removedDb: removedIn(history, octave, 0, isActing.length),
    })),
  }
}

/** The same over time, and the work of the ceiling, for drawing. */
export function alterationHistory(
  history: OctaveHistory,
  ceilingReductionDb: Float64Array,
  durationSeconds: number,
): AlterationHistory | null {
  const { isActing } = history
  if (!isActing.includes(1)) return null
  const columnSeconds = columnSecondsFor(durationSeconds, 1 / HOPS_PER_SECOND)
  const hops = Math.round(columnSeconds * HOPS_PER_SECOND)
  const columns = Array.from({ length: Math.ceil(isActing.length / hops) }, (_, column) => column * hops)
  return {
    columnSeconds,
    ceilingDb: greatestInColumns(ceilingReductionDb, columnSeconds),
    octaves: OCTAVES_HZ.map((centreHz, octave) => ({
      centreHz,
      removedDb: columns.map((first) =>
        isActing.subarray(first, first + hops).includes(1) ? removedIn(history, octave, first, first + hops) : 0,
      ),
    })),
  }
}

function removedIn(
  { isActing, octavesBefore, octavesAfter }: OctaveHistory,
  octave: number,
  first: number,
  end: number,
): number | null {
  let before = 0
  let after = 0
  let acting = 0
  for (let hop = first; hop < Math.min(end, isActing.length); hop++) {
    if (isActing[hop] !== 1) continue
    acting++
    before += octavesBefore[hop * OCTAVE_COUNT + octave] as number
    after += octavesAfter[hop * OCTAVE_COUNT + octave] as number
  }
  if (before < SILENT_POWER * acting || after === 0) return null
  return -powerToDb(after / before)
}
