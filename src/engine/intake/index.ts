export { identifyOrder, type OrderEvidence } from './identify-order.ts'
