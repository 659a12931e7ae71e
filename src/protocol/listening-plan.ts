import type { EnergyDivision, Finding, GainPlan, SourceReading } from '../domain/index.ts'
import type { SoundShape } from './desk-messages.ts'
import { pack, unpack } from './packed.ts'

/** A gain and the bounds inside which it may move. */
export type RideMoves = {
  readonly gainDb: Float64Array
  readonly lowestDb: Float64Array
  readonly highestDb: Float64Array
}

/** What a fit does over time, to be looked at: in dB, one value for each begun 100 ms. */
export type FitMoves = {
  /** The ride without the mixer's trims, and its corridor, all relative to the static gain; null: nothing asks for one. */
  readonly ride: RideMoves | null
  /** What the LFE does on top of it, beside the other channels; null: nothing. */
  readonly lfeRide: RideMoves | null
  /** Loudness that the ceiling took on trial, 0 or less; null: it has nothing to do. */
  readonly ceilingLossDb: Float64Array | null
}

/** All that has to be known to hear and to draw an upmix and a fit without rendering the programme. */
export type ListeningPlan = {
  /** The two tracks that the upmix starts from, which may be mended; null: there is no upmix. */
  readonly upmix: {
    readonly reading: SourceReading
    readonly sound: SoundShape
    readonly isMended: boolean
    /** Where it puts the energy, before any fit; null where there is no spec to analyse it for. */
    readonly energy: EnergyDivision | null
  } | null
  /** What a delivery would begin with; null where there is no spec to fit to. */
  readonly gain: GainPlan | null
  /** Null where there is no gain. */
  readonly moves: FitMoves | null
  /** False: no gain makes the programme conform, and this is the nearest there is. */
  readonly feasible: boolean
  readonly findings: readonly Finding[]
}

export function packPlan(plan: ListeningPlan): Uint8Array<ArrayBuffer> {
  return pack({ version: 1, ...plan })
}

export function unpackPlan(packed: ArrayBuffer): ListeningPlan {
  const { version: _, ...plan } = unpack(packed, true) as ListeningPlan & { readonly version: number }
  return plan
}
