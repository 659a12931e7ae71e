export {
  compareFoldDown,
  compareWithMaster,
  type FoldDownComparison,
  type MasterComparison,
  masterNullDbfs,
} from './fold-down-lock.ts'
