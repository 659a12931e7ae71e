import { framesPerSegment, type UpmixMoment, type UpmixPlan } from '../domain/index.ts'
import { bySegments, type ProgrammeShape } from './by-segment.ts'
import type { Crew } from './crew.ts'

/** Tells what the upmix of a two-track programme sees and makes at one of its frames, before any gain. */
export async function explainMoment(
  crew: Crew,
  programme: ProgrammeShape,
  plan: UpmixPlan,
  frame: number,
): Promise<UpmixMoment> {
  const at = Math.floor(frame / framesPerSegment(programme.sampleRateHz))
  const task = (segment: number) => ({ kind: 'explain-upmix', segment, plan, frame }) as const
  const [moment] = await bySegments(crew, [at], task, () => {})
  return moment as UpmixMoment
}
