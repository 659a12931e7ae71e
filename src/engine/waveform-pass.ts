import { type Waveform, waveformOf } from '../domain/index.ts'
import { bySegment, type ProgrammeShape, type Tell } from './by-segment.ts'
import type { Crew } from './crew.ts'

/** How the source looks over time, at every level that is kept. */
export async function waveformOfProgramme(crew: Crew, programme: ProgrammeShape, tell: Tell): Promise<Waveform> {
  return waveformOf(await bySegment(crew, programme, (segment) => ({ kind: 'waveform', segment }), tell))
}
