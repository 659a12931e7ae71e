export {
  addOrder,
  deliverOrder,
  type PartEnergies,
  type PictureMessage,
  planOrder,
  type RefusalMessage,
  type SceneSuggestion,
  type SheetState,
  type Shelf,
  type ShelfEntry,
  type SoundShape,
  sheetChange,
  type TitleHead,
  type TitleState,
  type WorkMessage,
  workKind,
} from './desk-messages.ts'
export { inspectDocument } from './inspect-file.ts'
export { type FitMoves, type ListeningPlan, packPlan, type RideMoves, unpackPlan } from './listening-plan.ts'
export { packTitle, unpackTitle } from './packed-title.ts'
export {
  type DeliveryDocument,
  deliveryDocument,
  type MeasureDocument,
  manifestDocument,
  measureDocument,
  passagesDocument,
  refusalDocument,
  upmixDocument,
  verifyDocument,
  writtenDocument,
} from './report-file.ts'
export { readSheetFile, type SheetReading, sheetFileSchema, sheetJson } from './sheet-file.ts'
export { readSpecFile, type SpecReading, specFileSchema } from './spec-file.ts'
