import type { LookFigure } from './evidence.ts'
import { LOOKS_PER_SECOND } from './grid.ts'
import { type JoinedEvidence, type LookRange, sumOver } from './programme.ts'

/**
 * What speaks for a surround signal in Lt/Rt. It lies in both tracks at equal level and opposite polarity
 * (ATSC A/52 section 7.8.2), so tiles gather there. Applause, rain and spaced microphones put as many tiles at any
 * other phase: what lies 90 degrees aside is taken off. Widened stereo puts more of them off the middle than in it.
 */
export type MatrixSigns = {
  readonly pos: number
  readonly neg: number
  readonly posU: number
  readonly negU: number
  /** Tiles at equal level in antiphase, less those 90 degrees ahead or behind (the more of the two). */
  readonly surroundShare: number
  readonly surroundShareMax: number
  /** The same of tiles that are exactly there, and how many of the former they are. */
  readonly sharpShare: number
  readonly sharpShareMax: number
  readonly sharpness: number
  /** The same for all balanced tiles in the quarter of the circle around antiphase. */
  readonly quarterShare: number
  /** Antiphase off the middle over antiphase in it, in the surround band. */
  readonly asideRatio: number
  /** `surroundShare` over all balanced antiphase. */
  readonly evenness: number
}

const WINDOW_LOOKS = 2 * LOOKS_PER_SECOND

export function matrixSigns(joined: JoinedEvidence, run: LookRange): MatrixSigns {
  const sum = (figure: LookFigure) => sumOver(joined, figure, run)
  const weight = sum('weight') + 1e-30
  const bandWeight = sum('bandWeight') + 1e-30
  const all = excessOver(joined, run)
  let surroundShareMax = 0
  let sharpShareMax = 0
  for (let from = run.from; from + WINDOW_LOOKS <= run.to; from += WINDOW_LOOKS / 2) {
    const window = { from, to: from + WINDOW_LOOKS }
    if (sumOver(joined, 'bandWeight', window) < 0.3 * (bandWeight / (run.to - run.from)) * WINDOW_LOOKS) continue
    const { even, sharp } = excessOver(joined, window)
    surroundShareMax = Math.max(surroundShareMax, even)
    if (sharp > LEAST_SHARPNESS * even) sharpShareMax = Math.max(sharpShareMax, sharp)
  }
  return {
    pos: sum('inPhase') / weight,
    neg: sum('antiphase') / weight,
    posU: sum('inPhaseAside') / weight,
    negU: sum('antiphaseAside') / weight,
    surroundShare: all.even,
    surroundShareMax,
    sharpShare: all.sharp,
    sharpShareMax,
    sharpness: all.even > 0 ? Math.max(0, all.sharp / all.even) : 0,
    quarterShare: (sum('antiphaseQuarter') - sum('sidewaysQuarter')) / bandWeight,
    asideRatio: sum('bandAntiphaseAside') / (sum('bandAntiphase') + 1e-30),
    evenness: (all.even * bandWeight) / (sum('bandAntiphase') + 1e-30),
  }
}

/** Share of the surround band in antiphase over that at +-90 degrees. */
function excessOver(joined: JoinedEvidence, run: LookRange): { readonly even: number; readonly sharp: number } {
  const sum = (figure: LookFigure) => sumOver(joined, figure, run)
  const weight = sum('bandWeight') + 1e-30
  return {
    even: (sum('evenAntiphase') - Math.max(sum('evenAhead'), sum('evenBehind'))) / weight,
    sharp: (sum('sharpAntiphase') - Math.max(sum('sharpAhead'), sum('sharpBehind'))) / weight,
  }
}

/** Of what lies at equal level in antiphase, a surround signal leaves this much exactly there; a synthesiser less. */
const LEAST_SHARPNESS = 0.17

/** Limits over which it is Lt/Rt, and over which the mixer is asked. Where they come from: docs/inspection.md. */
type Limits = { readonly sharpShare: number; readonly sharpShareMax: number; readonly quarterShare: number }
const SURE: Limits = { sharpShare: 0.005, sharpShareMax: 0.08, quarterShare: 0.025 }
const POSSIBLE: Limits = { sharpShare: 0.0013, sharpShareMax: 0.04, quarterShare: 0.008 }
/** A surround signal at equal level leaves little antiphase off the middle; widened stereo has most of it there. */
const WIDENED = 1.5
const CLEARLY_NOT_WIDENED = 0.5
/** Noise in the surround signal under other noise turns tiles towards antiphase, but hardly any lands at equal level. */
const NOISE_EVENNESS = 0.08

export type MatrixVerdict = 'matrix-encoded' | 'possibly-matrix-encoded' | 'plain-stereo'

export function judgeMatrix(signs: MatrixSigns): MatrixVerdict {
  if (signs.asideRatio > WIDENED) return 'plain-stereo'
  const isSharp = signs.sharpness > LEAST_SHARPNESS
  const isTurned =
    signs.asideRatio < CLEARLY_NOT_WIDENED && (isSharp || signs.surroundShare < NOISE_EVENNESS * signs.quarterShare)
  const isOver = (limits: Limits) =>
    (isSharp && signs.sharpShare > limits.sharpShare) ||
    signs.sharpShareMax > limits.sharpShareMax ||
    (isTurned && signs.quarterShare > limits.quarterShare)
  if (isOver(SURE)) return 'matrix-encoded'
  return isOver(POSSIBLE) ? 'possibly-matrix-encoded' : 'plain-stereo'
}
