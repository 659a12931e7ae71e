import type { Inspection, SpeechLane } from '../domain/index.ts'
import { bySegment, listenBySegment, type ProgrammeShape } from './by-segment.ts'
import type { Crew, Watch } from './crew.ts'
import { concludeInspection } from './intake/index.ts'
import { Stages } from './progress-shares.ts'

/** Share of the time that looking takes of a programme that is also listened to; only the progress line depends on it. */
const LOOKING_BESIDE_LISTENING = 0.7

/** Finds out what a file really is, along time. Without `listens` nothing that rests on dialogue is said. */
export async function inspectProgramme(
  crew: Crew,
  programme: ProgrammeShape,
  watch: Watch,
  listens: boolean,
): Promise<{ readonly inspection: Inspection; readonly speech: SpeechLane | null }> {
  const tell = new Stages(watch).tell('inspect')
  const looking = listens ? LOOKING_BESIDE_LISTENING : 1
  const task = (segment: number) => ({ kind: 'inspect', segment }) as const
  const segments = await bySegment(crew, programme, task, (share) => tell(share * looking))
  const speech = listens
    ? await listenBySegment(crew, programme, 'source', (share) => tell(looking + share * (1 - looking)))
    : null
  const { layout, sampleRateHz, frameCount } = programme
  return { inspection: concludeInspection(segments, { layout, sampleRateHz, frameCount, speech }), speech }
}
