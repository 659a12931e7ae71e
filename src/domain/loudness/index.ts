export { bandField, bandOfField, bandsOfParts, highestBand } from './band-levels.ts'
export { curvesWithin, loudnessCurves } from './curves.ts'
export {
  gatedLoudness,
  gatePower,
  gatingBlocks,
  HOPS_PER_GATING_BLOCK,
  jointLoudness,
} from './gate.ts'
export {
  FRONT_LOW_END_HZ,
  highestLfe,
  highestLfeOverFronts,
  LFE_WINDOW_HOPS,
  type LfePeak,
  leastFronts,
  type SubLevels,
  subLevels,
  subOfHops,
} from './lfe-levels.ts'
export { besideMaster, describeMeasured, describeParts, joinMeasured, loudnessOfParts } from './measured.ts'
export { jointLoudnessRange, loudnessRange, loudnessRangeEdges, widestLoudnessRange } from './range.ts'
export { type EnergyStretch, type PlacedWindow, WhatIf, type WhatIfFigures } from './what-if.ts'
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
