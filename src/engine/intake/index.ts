export { identifyOrder, type OrderEvidence } from './identify-order.ts'
export { concludeInspection, type InspectedSegment, inspectSegment } from './inspect.ts'
