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
export { type Render, refineGains, refineLfe } from './refine-gains.ts'
