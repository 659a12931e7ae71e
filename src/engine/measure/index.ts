export {
  compareFoldDown,
  compareWithMaster,
  type FoldDownComparison,
  type MasterComparison,
  masterNullDbfs,
} from './fold-down-lock.ts'
export { listenToSegment } from './listen.ts'
export { createPlaneMeter, measureSegment, type PlaneMeter } from './segment.ts'
