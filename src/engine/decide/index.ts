export { bandLinesToMeet, bandsHeardUnder, excessOf } from './band-excess.ts'
export {
  BAND_GUARD_DB,
  type BandRules,
  type BandSolution,
  bandOutOfReach,
  bandRules,
  solveBandLine,
} from './band-lines.ts'
export { type BandLevels, crossoversOf, planBands } from './bands.ts'
export {
  ceilingCandidates,
  ceilingLoss,
  isSlowAtWork,
  MOST_CEILING_MAKE_UP_DB,
  type RenderedSegmentReading,
} from './ceiling-forecast.ts'
export { planSlowCeiling } from './ceiling-slow-part.ts'
export { chooseGains } from './choose-gains.ts'
export type { Lock, RideLimit } from './corridor.ts'
export type {
  Certificate,
  Decision,
  Expected,
  ExpectedFigures,
  FitCorrection,
  LfeCertificate,
  Touch,
} from './decision.ts'
export { type LowEndLevels, lowEndMode, planLowEnd } from './low-end.ts'
export { bandShifts, type Render, refineGains, refineLfe } from './refine-gains.ts'
