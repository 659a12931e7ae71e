export { type DeliveryParts, deliveryReport, type RideCurve } from './delivery-report.ts'
export { checksumLines, type ManifestFile, manifest, reportJson } from './documents.ts'
export { fileNames, titleIdOf } from './names.ts'
export { planJson } from './plan-document.ts'
