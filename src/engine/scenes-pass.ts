import type { SuggestedScene } from '../domain/index.ts'
import { bySegment, listenBySegment, type ProgrammeShape } from './by-segment.ts'
import type { Crew, Watch } from './crew.ts'
import { suggestScenes } from './intake/index.ts'

/** Share of the time that listening takes; only the progress line depends on it. */
const LISTENING = 0.8

/** Finds the stretches of a two-track programme that sound alike, and what settings fit them. The crew must be able to listen. */
export async function scenesOfProgramme(
  crew: Crew,
  programme: ProgrammeShape,
  isLtRt: boolean,
  watch: Watch,
): Promise<readonly SuggestedScene[]> {
  const tell = (share: number) => watch.progress?.({ stage: 'inspect', share })
  const speech = await listenBySegment(crew, programme, 'source', (share) => tell(share * LISTENING))
  const sketching = (share: number) => tell(LISTENING + share * (1 - LISTENING))
  const task = (segment: number) => ({ kind: 'sketch-scenes', segment }) as const
  const sketches = await bySegment(crew, programme, task, sketching)
  return suggestScenes(sketches, speech, { ...programme, isLtRt })
}
