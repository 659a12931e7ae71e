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
  /** The same for all balanced tiles in the quarter of the circle around antiphase. */
  readonly quarterShare: number
}

const WINDOW_LOOKS = 2 * LOOKS_PER_SECOND

export function matrixSigns(joined: JoinedEvidence, run: LookRange): MatrixSigns {
  const sum = (figure: Parameters<typeof sumOver>[1]) => sumOver(joined, figure, run)
  const weight = sum('weight') + 1e-30
  let surroundShareMax = 0
  for (let from = run.from; from + WINDOW_LOOKS <= run.to; from += WINDOW_LOOKS / 2) {
    const window = { from, to: from + WINDOW_LOOKS }
    if (sumOver(joined, 'weight', window) > 0.3 * (weight / (run.to - run.from)) * WINDOW_LOOKS) {
      surroundShareMax = Math.max(surroundShareMax, surroundShare(joined, window))
    }
  }
  return {
    pos: sum('inPhase') / weight,
    neg: sum('antiphase') / weight,
    posU: sum('inPhaseAside') / weight,
    negU: sum('antiphaseAside') / weight,
    surroundShare: surroundShare(joined, run),
    surroundShareMax,
    quarterShare: (sum('antiphaseQuarter') - sum('sidewaysQuarter')) / weight,
  }
}

function surroundShare(joined: JoinedEvidence, run: LookRange): number {
  const sum = (figure: Parameters<typeof sumOver>[1]) => sumOver(joined, figure, run)
  const aside = Math.max(sum('evenAhead'), sum('evenBehind'))
  return (sum('evenAntiphase') - aside) / (sum('weight') + 1e-30)
}

/**
 * Limits over which it is Lt/Rt, and over which the mixer is asked. The first share is held to more in a short stretch,
 * where one odd chord weighs much. Set on one set of mixes, checked on others (docs/inspection.md).
 */
type Limits = {
  readonly share: number
  readonly shareIfShort: number
  readonly shareMax: number
  readonly quarterShare: number
}
const SURE: Limits = { share: 0.003, shareIfShort: 0.006, shareMax: 0.04, quarterShare: 0.025 }
const POSSIBLE: Limits = { share: 0.0015, shareIfShort: 0.0025, shareMax: 0.022, quarterShare: 0.008 }
const SHORT_SECONDS = 30
/** Of all balanced antiphase, what a surround signal leaves at exactly equal level; in widened stereo it is less. */
const EVEN_SHARE = 0.1
/** A surround signal at equal level leaves little antiphase off the middle; widened stereo has most of it there. */
const WIDENED = 1.5
const CLEARLY_NOT_WIDENED = 0.5

export type MatrixVerdict = 'matrix-encoded' | 'possibly-matrix-encoded' | 'plain-stereo'

export function judgeMatrix(signs: MatrixSigns, seconds: number): MatrixVerdict {
  if (signs.negU > WIDENED * signs.neg) return 'plain-stereo'
  const shortness = Math.min(1, SHORT_SECONDS / seconds)
  const isOver = (limits: Limits) =>
    signs.surroundShare >
      Math.max(EVEN_SHARE * signs.neg, limits.share + shortness * (limits.shareIfShort - limits.share)) ||
    signs.surroundShareMax > limits.shareMax ||
    (signs.quarterShare > limits.quarterShare && signs.negU < CLEARLY_NOT_WIDENED * signs.neg)
  if (isOver(SURE)) return 'matrix-encoded'
  return isOver(POSSIBLE) ? 'possibly-matrix-encoded' : 'plain-stereo'
}
