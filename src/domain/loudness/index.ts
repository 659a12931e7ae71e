export { curvesOfParts, loudnessCurves } from './curves.ts'
export {
  gatedLoudness,
  gatePower,
  gatingBlocks,
  HOPS_PER_GATING_BLOCK,
  jointLoudness,
} from './gate.ts'
export { describeMeasured, describeParts, joinMeasured } from './measured.ts'
export { loudnessRange } from './range.ts'
export {
  type LoudestWindow,
  loudestMomentary,
  loudestShortTerm,
  loudnessOf,
  MOMENTARY_SECONDS,
  momentary,
  powerOf,
  SHORT_TERM_SECONDS,
  shortTerm,
  toHops,
  windowMeans,
} from './windows.ts'
