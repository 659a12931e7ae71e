import type { Finding, GainPlan, SourceReading } from '../domain/index.ts'
import type { SoundShape } from './desk-messages.ts'

/** All that has to be known to hear an upmix and a fit without rendering the programme. */
export type ListeningPlan = {
  /** The two tracks that the upmix starts from, which may be mended; null: there is no upmix. */
  readonly upmix: { readonly reading: SourceReading; readonly sound: SoundShape; readonly isMended: boolean } | null
  /** What a delivery would begin with; null where there is no spec to fit to. */
  readonly gain: GainPlan | null
  /** False: no gain makes the programme conform, and this is the nearest there is. */
  readonly feasible: boolean
  readonly findings: readonly Finding[]
}

type Points = readonly number[] | null

/** The same as it travels. */
export type HeardPlan = Omit<ListeningPlan, 'gain'> & {
  readonly version: 1
  readonly gain:
    | (Pick<GainPlan, 'staticGainDb' | 'ceilingDbtp' | 'lfeCeilingDbtp' | 'programme'> & {
        readonly rideDb: Points
        readonly lowEnd: { readonly crossoverHz: number; readonly gainDb: readonly number[] } | null
        readonly bands: { readonly crossoversHz: readonly number[]; readonly gainsDb: readonly Points[] } | null
        readonly slowCeiling: { readonly linkedDb: Points; readonly lfeDb: Points } | null
      })
    | null
}

export function packPlan({ gain, ...plan }: ListeningPlan): HeardPlan {
  if (gain === null) return { version: 1, ...plan, gain }
  const { lowEnd, bands, slowCeiling } = gain
  return {
    version: 1,
    ...plan,
    gain: {
      staticGainDb: gain.staticGainDb,
      ceilingDbtp: gain.ceilingDbtp,
      lfeCeilingDbtp: gain.lfeCeilingDbtp ?? null,
      programme: gain.programme,
      rideDb: written(gain.rideDb),
      lowEnd: lowEnd ? { crossoverHz: lowEnd.crossoverHz, gainDb: Array.from(lowEnd.gainDb) } : null,
      bands: bands ? { crossoversHz: bands.crossoversHz, gainsDb: bands.gainsDb.map(written) } : null,
      slowCeiling: slowCeiling ? { linkedDb: written(slowCeiling.linkedDb), lfeDb: written(slowCeiling.lfeDb) } : null,
    },
  }
}

export function unpackPlan({ gain, version: _, ...plan }: HeardPlan): ListeningPlan {
  if (gain === null) return { ...plan, gain }
  const { lowEnd, bands, slowCeiling } = gain
  return {
    ...plan,
    gain: {
      staticGainDb: gain.staticGainDb,
      ceilingDbtp: gain.ceilingDbtp,
      lfeCeilingDbtp: gain.lfeCeilingDbtp ?? null,
      programme: gain.programme,
      rideDb: read(gain.rideDb),
      lowEnd: lowEnd && { crossoverHz: lowEnd.crossoverHz, gainDb: Float64Array.from(lowEnd.gainDb) },
      bands: bands && { crossoversHz: bands.crossoversHz, gainsDb: bands.gainsDb.map(read) },
      slowCeiling: slowCeiling && { linkedDb: read(slowCeiling.linkedDb), lfeDb: read(slowCeiling.lfeDb) },
    },
  }
}

function written(points: Float64Array | null): Points {
  return points && Array.from(points)
}

function read(points: Points): Float64Array | null {
  return points && Float64Array.from(points)
}
