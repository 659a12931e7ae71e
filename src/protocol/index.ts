export {
  type DeliveryDocument,
  deliveryDocument,
  type MeasureDocument,
  manifestDocument,
  measureDocument,
} from './report-file.ts'
export { readSpecFile, type SpecProblem, type SpecReading, specFileSchema } from './spec-file.ts'
