export { joinLevelSteps, levelStepsWithin } from './find-level-steps.ts'
export { identifyOrder, type OrderEvidence } from './identify-order.ts'
export {
  concludeInspection,
  concludeReading,
  type InspectedSegment,
  inspectSegment,
  type ReadSegment,
  readSegment,
} from './inspect.ts'
export { sketchForScenes } from './scene-sketch.ts'
export { suggestScenes } from './suggest-scenes.ts'
