export {
  type DeliveryDocument,
  deliveryDocument,
  type MeasureDocument,
  measureDocument,
  REPORT_VERSION,
} from './report-file.ts'
export { readSpecFile, type SpecProblem, type SpecReading, specFile, specFileSchema } from './spec-file.ts'
