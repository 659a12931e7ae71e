export type { CeilingAction, CeilingAlteration } from './alteration.ts'
export { type FoldedSegment, type FoldJob, foldSegment } from './fold.ts'
export { type RenderedSegment, type RenderJob, renderSegment } from './segment.ts'
export { type UpmixedSegment, upmixSegment } from './upmix.ts'
