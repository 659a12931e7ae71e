import { BANDS, bandLineCurves, type EnergyDivision, printFigure, rangeInWords } from '../../domain/index.ts'
import type { FitMoves, ListeningPlan } from '../../protocol/index.ts'

/** What a fit does over time, as it is drawn and read: in dB, a value for each 100 ms of the file. */
export type FitCurves = FitMoves & {
  readonly staticGainDb: number
  /** Of the low end, and of each band that something is done to. */
  readonly bands: readonly { readonly name: string; readonly gainDb: Float64Array }[]
  readonly feasible: boolean
  /** Where an upmix puts the energy. */
  readonly energy: EnergyDivision | null
  /** What the lanes reach over, in whole steps, so that the highest and the lowest are seen. */
  readonly rideSpan: Span
  readonly lfeSpan: Span
  readonly ceilingSpan: Span
  readonly bandsSpan: Span
}

export type Span = { readonly topDb: number; readonly bottomDb: number }

const STEP_DB = 3

export function fitCurvesOf(plan: ListeningPlan | null): FitCurves | null {
  if (plan === null || plan.gain === null || plan.moves === null) return null
  const { gain, moves, feasible } = plan
  const bands = [
    ...(gain.lowEnd
      ? [{ name: `below ${printFigure(gain.lowEnd.crossoverHz, 0)} Hz`, gainDb: gain.lowEnd.gainDb }]
      : []),
    ...(gain.bands?.gainsDb ?? []).flatMap((gainDb, band) =>
      gainDb === null ? [] : [{ name: `${BANDS[band]!.name} band`, gainDb }],
    ),
    ...bandLineCurves(gain.bandLines ?? []).map(({ line, fromHz, toHz, gainDb }) => ({
      name: `${line.replaceAll('-', ' ')} line, ${rangeInWords({ fromHz, toHz })}`,
      gainDb,
    })),
  ]
  return {
    ...moves,
    staticGainDb: gain.staticGainDb,
    bands,
    feasible,
    energy: plan.upmix?.energy ?? null,
    rideSpan: spanOf(moves.ride === null ? [] : [moves.ride.gainDb]),
    lfeSpan: spanOf(moves.lfeRide === null ? [] : [moves.lfeRide.gainDb]),
    ceilingSpan: { ...spanOf(moves.ceilingLossDb === null ? [] : [moves.ceilingLossDb]), topDb: 0 },
    bandsSpan: spanOf(bands.map(({ gainDb }) => gainDb)),
  }
}

/** From the lowest to the highest of all points; 0 is always in it. */
export function extentOf(all: readonly Float64Array[]): Span {
  let [topDb, bottomDb] = [0, 0]
  for (const points of all) {
    for (const db of points) {
      if (db > topDb) topDb = db
      if (db < bottomDb) bottomDb = db
    }
  }
  return { topDb, bottomDb }
}

function spanOf(all: readonly Float64Array[]): Span {
  const { topDb, bottomDb } = extentOf(all)
  const whole = (db: number) => Math.ceil(db / STEP_DB) * STEP_DB
  return { topDb: topDb === 0 ? 1 : whole(topDb), bottomDb: -Math.max(STEP_DB, whole(-bottomDb)) }
}
