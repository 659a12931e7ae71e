import {
  type AudioSource,
  assert,
  type BandLimit,
  type Cancellation,
  hasFoldDown,
  type Inspection,
  type Segment,
  type TwoTrackReport,
} from '../../domain/index.ts'
import type { Kernels } from '../../dsp/index.ts'
import type { Detector, Inspected } from './detector.ts'
import { faultDetector } from './faults/index.ts'
import { rolesDetector } from './roles/index.ts'
import { bandLimitOf, observeBands, spectrumDetector } from './spectrum/index.ts'
import { readStretch } from './stretch.ts'
import { structureDetector } from './structure/index.ts'
import { twoTrackDetector } from './two-track/index.ts'

type EvidenceOf<D> = D extends Detector<infer Evidence, infer _> ? Evidence : never

/** What one segment leaves behind for the conclusion. */
export type InspectedSegment = {
  readonly structure: EvidenceOf<typeof structureDetector>
  readonly faults: EvidenceOf<typeof faultDetector>
  readonly spectrum: EvidenceOf<typeof spectrumDetector>
  readonly twoTrack: EvidenceOf<typeof twoTrackDetector> | null
  readonly roles: EvidenceOf<typeof rolesDetector> | null
}

/** Looks at one segment of a programme with every detector that its layout calls for. */
export function inspectSegment(
  kernels: Kernels,
  source: AudioSource,
  segment: Segment,
  cancellation?: Cancellation,
): InspectedSegment {
  const stretch = readStretch(kernels, source, segment, cancellation)
  const look = <E>(detector: Detector<E, unknown>): E => {
    const mark = kernels.arena.mark()
    try {
      return detector.observe(kernels, stretch)
    } finally {
      kernels.arena.release(mark)
    }
  }
  return {
    structure: look(structureDetector),
    faults: look(faultDetector),
    spectrum: look(spectrumDetector),
    twoTrack: source.layout === '2.0' ? look(twoTrackDetector) : null,
    roles: hasFoldDown(source.layout) ? look(rolesDetector) : null,
  }
}

/** What the file really is, from the evidence of all its segments in order. */
export function concludeInspection(segments: readonly InspectedSegment[], programme: Inspected): Inspection {
  const all = <Key extends keyof InspectedSegment>(key: Key) =>
    segments.flatMap((segment) => (segment[key] === null ? [] : [segment[key]])) as NonNullable<InspectedSegment[Key]>[]
  return {
    structure: structureDetector.conclude(all('structure'), programme),
    faults: faultDetector.conclude(all('faults'), programme),
    spectrum: spectrumDetector.conclude(all('spectrum'), programme),
    twoTrack: programme.layout === '2.0' ? twoTrackDetector.conclude(all('twoTrack'), programme) : null,
    roles: hasFoldDown(programme.layout) ? rolesDetector.conclude(all('roles'), programme) : null,
  }
}

/** What one segment leaves behind for an upmix. */
export type ReadSegment = {
  /** Mean power of each track, band by band. */
  readonly bands: readonly Float32Array[]
  readonly twoTrack: EvidenceOf<typeof twoTrackDetector>
}

/** Looks at one segment of a two-track programme with what an upmix needs. */
export function readSegment(
  kernels: Kernels,
  source: AudioSource,
  segment: Segment,
  cancellation?: Cancellation,
): ReadSegment {
  assert(source.layout === '2.0', `two tracks are read, not ${source.layout}`)
  const stretch = readStretch(kernels, source, segment, cancellation)
  const mark = kernels.arena.mark()
  const bands = observeBands(kernels, stretch)
  const twoTrack = twoTrackDetector.observe(kernels, stretch)
  kernels.arena.release(mark)
  return { bands, twoTrack }
}

/** What the two tracks are, from the evidence of all segments in order. */
export function concludeReading(
  segments: readonly ReadSegment[],
  programme: Inspected,
): { readonly twoTrack: TwoTrackReport; readonly bandLimits: readonly (BandLimit | null)[] } {
  const bandLimit = (track: number) =>
    bandLimitOf(
      segments.map(({ bands }) => ({ bands: bands[track]! })),
      programme.sampleRateHz,
    )
  return {
    twoTrack: twoTrackDetector.conclude(
      segments.map(({ twoTrack }) => twoTrack),
      programme,
    ),
    bandLimits: [bandLimit(0), bandLimit(1)],
  }
}
