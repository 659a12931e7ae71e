export { type AlteredSegment, compareWithSource, writeDifference } from './alteration.ts'
export { bandStandingsOfSegment } from './band-standings.ts'
export {
  bandLevelsOfSegment,
  bandsOfSegment,
  lowEndOfSegment,
  subLevelsOfSegment,
  type TreatedBefore,
} from './bands.ts'
export {
  compareFoldDown,
  compareWithMaster,
  type FoldDownComparison,
  type MasterComparison,
  masterNullDbfs,
} from './fold-down-lock.ts'
export { mWeightedEnergies } from './leq-m.ts'
export { listenToSegment } from './listen.ts'
export { createPlaneMeter, measureSegment, type PlaneMeter } from './segment.ts'
export { waveformOfStretch } from './waveform.ts'
