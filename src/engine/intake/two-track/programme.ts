import { dbToPower } from '../../../domain/index.ts'
import { LOOK_FIGURES, type LookFigure, type Looks, type TwoTrackEvidence } from './evidence.ts'
import { GLANCES_PER_LOOK, LOOKS_PER_FINE_CELL, LOOKS_PER_LAG_CELL } from './grid.ts'
import { type PlacedRun, placeRuns } from './timecode.ts'

/** Below -90 dBFS a track is called silent. */
const SILENT_POWER = 1e-9
/** Looks within this of the softest ones are pauses, as long as those are softer than -50 dBFS. */
const PAUSE_OVER_FLOOR = dbToPower(6)
const LOUDEST_FLOOR = dbToPower(-50)
const FLOOR_SHARE = 0.05
/** A programme that never falls 15 dB below its mean has no pauses. */
const BELOW_MEAN = dbToPower(-15)

/** The evidence of all segments joined, and what follows from it look by look. */
export type JoinedEvidence = Omit<TwoTrackEvidence, 'labels' | 'floors'> & {
  /** What the tracks do not share, look by look and in them band by band. */
  readonly densities: Float32Array
  readonly lookCount: number
  readonly labels: readonly PlacedRun[]
  /** Power under which each track hardly ever falls: its noise, in a programme that has pauses. */
  readonly floors: { readonly left: number; readonly right: number }
  /** 1 where both tracks are below -90 dBFS. */
  readonly isSilent: Uint8Array
  /** 1 where both tracks lie at their floor, so that the look says nothing about the programme; silence included. */
  readonly isPause: Uint8Array
}

/** Joins segments; every one but the last holds a whole number of cells. */
export function joinEvidence(evidence: readonly TwoTrackEvidence[], sampleRateHz: number): JoinedEvidence {
  const looks = Object.fromEntries(
    LOOK_FIGURES.map((name) => [name, Float64Array.from(joined(evidence.map((each) => each.looks[name])))]),
  ) as Record<LookFigure, Float64Array>
  const floats = (take: (each: TwoTrackEvidence) => Float32Array) => Float32Array.from(joined(evidence.map(take)))
  const floors = { left: floorOf(looks.leftPower), right: floorOf(looks.rightPower) }
  const lookCount = looks.leftPower.length
  const isSilent = new Uint8Array(lookCount)
  const isPause = new Uint8Array(lookCount)
  for (let look = 0; look < lookCount; look++) {
    const left = looks.leftPower[look]!
    const right = looks.rightPower[look]!
    isSilent[look] = left < SILENT_POWER && right < SILENT_POWER ? 1 : 0
    const isSoft = left < PAUSE_OVER_FLOOR * floors.left && right < PAUSE_OVER_FLOOR * floors.right
    isPause[look] = isSilent[look] === 1 || isSoft ? 1 : 0
  }
  return {
    lookCount,
    looks,
    glances: {
      common: floats((each) => each.glances.common),
      leftOnly: floats((each) => each.glances.leftOnly),
      rightOnly: floats((each) => each.glances.rightOnly),
    },
    fine: {
      curves: floats((each) => each.fine.curves),
      weights: floats((each) => each.fine.weights),
      alignedRho: floats((each) => each.fine.alignedRho),
    },
    lags: {
      lagMicroseconds: floats((each) => each.lags.lagMicroseconds),
      peak: floats((each) => each.lags.peak),
      peakAtZero: floats((each) => each.lags.peakAtZero),
      rho: floats((each) => each.lags.rho),
      rhoAtZero: floats((each) => each.lags.rhoAtZero),
    },
    densities: floats((each) => each.floors),
    labels: placeRuns(
      evidence.flatMap((each) => each.labels),
      sampleRateHz,
    ),
    floors,
    isSilent,
    isPause,
  }
}

function joined(parts: readonly (Float32Array | Float64Array)[]): number[] {
  return parts.flatMap((part) => Array.from(part))
}

function floorOf(powers: Float64Array): number {
  const sounding = powers.filter((power) => power > SILENT_POWER).toSorted()
  if (sounding.length === 0) return SILENT_POWER
  const floor = sounding[Math.floor(FLOOR_SHARE * sounding.length)]!
  const mean = sounding.reduce((sum, power) => sum + power, 0) / sounding.length
  return floor < Math.min(LOUDEST_FLOOR, BELOW_MEAN * mean) ? floor : SILENT_POWER
}

/** Looks `[from, to)`. */
export type LookRange = { readonly from: number; readonly to: number }

export function fineCellOf(look: number): number {
  return Math.floor(look / LOOKS_PER_FINE_CELL)
}

export function lagCellOf(look: number): number {
  return Math.floor(look / LOOKS_PER_LAG_CELL)
}

export function firstGlanceOf(look: number): number {
  return look * GLANCES_PER_LOOK
}

/** Sum of a figure over the looks of a range that are no pause. */
export function sumOver(joinedEvidence: JoinedEvidence, figure: keyof Looks, { from, to }: LookRange): number {
  const values = joinedEvidence.looks[figure]
  let sum = 0
  for (let look = from; look < to; look++) if (joinedEvidence.isPause[look] === 0) sum += values[look]!
  return sum
}

/** What the tracks do not share in a look, over what they carry, once level and a small delay are taken out. */
export function residualOf({ fine, looks }: JoinedEvidence, look: number): number {
  const aligned = fine.alignedRho[fineCellOf(look)]!
  const cross = looks.crossPower[look]!
  const asItIs = (cross * cross) / (looks.leftPower[look]! * looks.rightPower[look]! + 1e-30)
  return Math.max(LEAST_RESIDUAL, 1 - Math.max(aligned * aligned, asItIs))
}

/** What float32 transforms leave of two equal tracks. */
const LEAST_RESIDUAL = 1e-7

/** How much of a residual the noise of both tracks explains. */
export function noiseShareOf({ looks, floors }: JoinedEvidence, look: number): number {
  return floors.left / (looks.leftPower[look]! + 1e-30) + floors.right / (looks.rightPower[look]! + 1e-30)
}
