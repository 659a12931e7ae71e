import { powerToDb } from '../elementary.ts'
import { HOPS_PER_SECOND } from '../grid.ts'
import type { BandPowers, Measured } from '../measurements.ts'
import type { BandLine } from '../spec.ts'
import type { LfePeak } from './lfe-levels.ts'
import { SHORT_TERM_SECONDS, windowMeans } from './windows.ts'

const WINDOW_HOPS = SHORT_TERM_SECONDS * HOPS_PER_SECOND

/** The field of the measurements under which the level of a band line stands. */
export function bandField({ id }: Pick<BandLine, 'id'>): string {
  return `bandLevels.${id}`
}

/** The band of such a field in words; null: it is another field. */
export function bandOfField(field: string): string | null {
  return field.startsWith('bandLevels.') ? field.slice('bandLevels.'.length).replaceAll('-', ' ') : null
}

/**
 * Where a band stands highest, dBFS RMS, in a window of 3 s or over the programme as a whole; null where it is silent. A
 * stretch shorter than 3 s is one window.
 */
export function highestBand(
  parts: readonly Float64Array[],
  over: BandLine['over'],
): (LfePeak & { readonly hopCount: number }) | null {
  let highest = { power: 0, part: 0, hop: 0, hopCount: 0 }
  if (over === 'programme') {
    const hopCount = parts.reduce((sum, { length }) => sum + length, 0)
    const sum = parts.reduce((all, part) => part.reduce((sumOfPart, power) => sumOfPart + power, all), 0)
    highest = { power: hopCount === 0 ? 0 : sum / hopCount, part: 0, hop: 0, hopCount }
  } else {
    for (const [part, powers] of parts.entries()) {
      const hopCount = Math.min(WINDOW_HOPS, powers.length)
      for (const [hop, power] of windowMeans(powers, hopCount).entries()) {
        if (power > highest.power) highest = { power, part, hop, hopCount }
      }
    }
  }
  const { power, ...at } = highest
  return power === 0 ? null : { db: powerToDb(power), ...at }
}

/** The powers of each band line in the stretches of a programme, line by line; null where nobody asked for them. */
export function bandsOfParts(
  parts: readonly Pick<Measured, 'bandPowers'>[],
): readonly (Pick<BandPowers, 'line'> & { readonly parts: readonly Float64Array[] })[] | null {
  const lines = parts[0]?.bandPowers
  if (lines === undefined) return null
  return lines.map(({ line }, index) => ({
    line,
    parts: parts.flatMap(({ bandPowers }) => bandPowers?.[index]?.powers100ms ?? []),
  }))
}

/** The value of every band line by its id, dBFS or dB over the programme loudness; null where nobody asked for them. */
export function bandLevels(
  parts: readonly Measured[],
  programmeLoudnessLkfs: number | null,
): Readonly<Record<string, number | null>> | null {
  const bands = bandsOfParts(parts)
  if (bands === null) return null
  const values = bands.map(({ line, parts: powers }) => {
    const db = highestBand(powers, line.over)?.db ?? null
    if (line.beside === 'full-scale' || db === null) return [line.id, db]
    return [line.id, programmeLoudnessLkfs === null ? null : db - programmeLoudnessLkfs]
  })
  return Object.fromEntries(values)
}
