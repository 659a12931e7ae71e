import type { SuggestedScene } from '../domain/index.ts'
import { bySegment, listenBySegment, type ProgrammeShape } from './by-segment.ts'
import type { Crew, Watch } from './crew.ts'
import { suggestScenes } from './intake/index.ts'

/** Shares of the time after which the tracks were read, and then listened to; only the progress line depends on them. */
export const READ_BESIDE_SCENES = 0.44
const HEARD = 0.88

/** Finds the stretches of a two-track programme that sound alike, and what settings fit them. The crew must be able to listen. */
export async function scenesOfProgramme(
  crew: Crew,
  programme: ProgrammeShape,
  isLtRt: boolean,
  watch: Watch,
): Promise<readonly SuggestedScene[]> {
  const tell = (share: number) => watch.progress?.({ stage: 'inspect', share })
  const speech = await listenBySegment(crew, programme, 'source', (share) =>
    tell(READ_BESIDE_SCENES + share * (HEARD - READ_BESIDE_SCENES)),
  )
  const sketching = (share: number) => tell(HEARD + share * (1 - HEARD))
  const task = (segment: number) => ({ kind: 'sketch-scenes', segment }) as const
  const sketches = await bySegment(crew, programme, task, sketching)
  return suggestScenes(sketches, speech, { ...programme, isLtRt })
}
