import { dbToPower, powerToDb } from './elementary.ts'
import { LAYOUTS, type LayoutName, type Role } from './layout.ts'

/**
 * Level in the auditorium, dB(C), of pink noise at the reference level of one channel. 2.0 plays through left and right
 * of the screen, mono through the centre.
 * @source ISO 21727:2016 for L, C, R, Ls, Rs and LFE; the four surrounds of 7.1 like two: common practice
 */
const REPLAY_LEVEL_DB: Readonly<Record<Role, number>> = {
  M: 85,
  L: 85,
  R: 85,
  C: 85,
  LFE: 95,
  Ls: 82,
  Rs: 82,
  Lrs: 82,
  Rrs: 82,
}

/** Mean square at the reference level: -20 dB below a full-scale sine. @source ISO 21727:2016 */
const REFERENCE_POWER = 0.005

/** The standard is made for trailers and commercials up to this length. @source ISO 21727:2016, scope */
export const LEQ_M_LONGEST_SECONDS = 180

/** The highest Leq(m) that cinemas take: limits of the trade, not of the standard. @source common practice, from memory */
export const LEQ_M_TRADE_LIMITS_DB = { trailer: 85, commercial: 82 } as const

/**
 * Leq(m) in dB of a whole programme without any gate, from the sums of squares of its M-weighted channels in channel
 * order; null of silence.
 * @source ISO 21727:2016
 */
export function leqM(sumsOfSquares: ArrayLike<number>, frameCount: number, layout: LayoutName): number | null {
  const power = LAYOUTS[layout].reduce((sum, role, channel) => {
    return sum + dbToPower(REPLAY_LEVEL_DB[role]) * (sumsOfSquares[channel] as number)
  }, 0)
  return power > 0 ? powerToDb(power / (frameCount * REFERENCE_POWER)) : null
}
