export type { ProgrammeShape } from './by-segment.ts'
export type { Crew, Progress, Watch } from './crew.ts'
export type { Decision } from './decide/index.ts'
export {
  checksumLines,
  fileNames,
  type ManifestFile,
  manifest,
  planJson,
  reportJson,
  thinHistory,
  thinLanes,
  titleIdOf,
} from './deliver/index.ts'
export type { DeliveryOrder, DeliveryOutcome, DeliveryStore } from './delivery-order.ts'
export { explainMoment } from './explain-upmix-pass.ts'
export { inspectProgramme } from './inspect-pass.ts'
export { identifyOrder } from './intake/index.ts'
export { measureLeqM } from './leq-m-pass.ts'
export { waveformOfStretch } from './measure/index.ts'
export { passagesOfProgramme } from './passages-pass.ts'
export { READ_SHARE } from './progress-shares.ts'
export { hearProgramme, mendProgramme, type ReadProgramme, readProgramme } from './read-source-pass.ts'
export type { Mending } from './render/index.ts'
export { seedOf } from './render-pass.ts'
export {
  deliverProgramme,
  measureProgramme,
  type ProgrammeMeasurement,
  planProgramme,
  verifyDelivery,
} from './run.ts'
export { READ_BESIDE_SCENES, scenesOfProgramme } from './scenes-pass.ts'
export type { AudioName, Bench, FoldOrder, ResultOf, Task } from './tasks.ts'
export { foldProgramme, upmixProgramme } from './unfitted-pass.ts'
export type { WrittenFile } from './verify-pass.ts'
export { waveformOfProgramme } from './waveform-pass.ts'
export { perform } from './work.ts'
