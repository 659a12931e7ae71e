import type { AudioSource, Cancellation, Inspection, Segment } from '../../domain/index.ts'
import type { Kernels } from '../../dsp/index.ts'
import type { Detector, Inspected } from './detector.ts'
import { faultDetector } from './faults/index.ts'
import { readStretch } from './stretch.ts'
import { structureDetector } from './structure/index.ts'

/** What one segment leaves behind for the conclusion. */
export type InspectedSegment = {
  readonly structure: EvidenceOf<typeof structureDetector>
  readonly faults: EvidenceOf<typeof faultDetector>
}

type EvidenceOf<D> = D extends Detector<infer Evidence, infer _> ? Evidence : never

/** Looks at one segment of a programme with every detector that its layout calls for. */
export function inspectSegment(
  kernels: Kernels,
  source: AudioSource,
  segment: Segment,
  cancellation?: Cancellation,
): InspectedSegment {
  const stretch = readStretch(kernels, source, segment, cancellation)
  return {
    structure: structureDetector.observe(kernels, stretch),
    faults: faultDetector.observe(kernels, stretch),
  }
}

/** What the file really is, from the evidence of all its segments in order. */
export function concludeInspection(segments: readonly InspectedSegment[], programme: Inspected): Inspection {
  return {
    structure: structureDetector.conclude(
      segments.map(({ structure }) => structure),
      programme,
    ),
    faults: faultDetector.conclude(
      segments.map(({ faults }) => faults),
      programme,
    ),
  }
}
