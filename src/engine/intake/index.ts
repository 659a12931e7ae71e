export { joinLevelSteps, levelStepsWithin } from './find-level-steps.ts'
export { identifyOrder, type OrderEvidence } from './identify-order.ts'
export { concludeInspection, type InspectedSegment, inspectSegment } from './inspect.ts'
