export {
  type DeliveryDocument,
  deliveryDocument,
  type MeasureDocument,
  manifestDocument,
  measureDocument,
  refusalDocument,
  verifyDocument,
  writtenDocument,
} from './report-file.ts'
export { readSpecFile, type SpecProblem, type SpecReading, specFileSchema } from './spec-file.ts'
