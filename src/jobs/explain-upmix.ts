import {
  type Clock,
  endLabel,
  type Finding,
  isTimecodeProblem,
  printInstant,
  readInstant,
  type UpmixMoment,
} from '../domain/index.ts'
import { explainMoment, type Progress } from '../engine/index.ts'
import { readTracks } from './read-tracks.ts'
import { refuse } from './refusals.ts'
import { ScratchFolder } from './scratch.ts'
import { type OpenedSource, programmeOf } from './source.ts'
import { nameTitle, openTitle, type TitleOptions } from './title.ts'
import { refuseUntoldChannels, twoTrack } from './two-track.ts'
import { isListening, type JobOptions, withCrew } from './with-crew.ts'

/** A moment of an upmix, and the programme in which it lies. */
export type ExplainedMoment = {
  readonly moment: UpmixMoment
  readonly sampleRateHz: number
  readonly clock: Clock | null
  /** What the mixer has to know of the two tracks. */
  readonly findings: readonly Finding[]
}

/** Tells what the upmix of a two-track file, or of the title of a sheet, sees and makes at a moment. */
export async function explainUpmix(
  path: string,
  at: string,
  options: JobOptions & TitleOptions,
  progress?: (progress: Progress) => void,
): Promise<ExplainedMoment> {
  using scratch = new ScratchFolder()
  const title = await openTitle(await nameTitle([path]), () => scratch.path, options).catch(refuseUntoldChannels(path))
  const source = await twoTrack(title.source, options)
  const frame = frameOf(source, at)
  const places = { source: source.location }
  const listens = isListening(options)
  return await withCrew(
    source,
    { ...options, listens },
    async (crew) => {
      const way = { scratchFolder: () => scratch.path, listens, progress }
      const { reading, findings } = await readTracks(source, title.upmix.settings, crew, places, way)
      const programme = { ...programmeOf(source), layout: '2.0' } as const
      const moment = await explainMoment(crew, programme, { ...title.upmix, reading }, frame)
      return { moment, sampleRateHz: source.format.sampleRateHz, clock: source.clock, findings }
    },
    places,
  )
}

/** The frame of a moment that is given as a label, as hours, minutes and seconds, or in seconds from the first frame. */
function frameOf({ path, clock, format, frameCount }: OpenedSource, at: string): number {
  const { sampleRateHz } = format
  const isSeconds = /^\s*\d+(\.\d+)?\s*$/.test(at)
  const labelled = clock === null || isSeconds ? null : readInstant(clock, at, sampleRateHz)
  const counted = isSeconds ? Math.round(Number(at) * sampleRateHz) : readInstant(null, at, sampleRateHz)
  const frame = labelled === null || isTimecodeProblem(labelled) ? counted : labelled
  const doing = `explain the upmix of "${path}"`
  if (isTimecodeProblem(frame)) {
    const { found, wanted, nearest } = labelled !== null && isTimecodeProblem(labelled) ? labelled : frame
    const remedy = nearest === null ? undefined : `The nearest is ${nearest}.`
    throw refuse('JOBS_MOMENT', doing, found, { wanted, remedy })
  }
  if (frame < frameCount) return frame
  const ground = { clock, sampleRateHz, frameCount }
  throw refuse('JOBS_MOMENT', doing, `"${at}"`, {
    wanted: `a moment from ${printInstant(clock, 0, sampleRateHz)} to ${endLabel(ground)}`,
  })
}
