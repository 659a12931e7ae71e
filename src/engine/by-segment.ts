import {
  type DeliverySpec,
  type FrameRange,
  joinMeasured,
  LAYOUTS,
  type LayoutName,
  type Measured,
  type MeasuredPart,
  type SpeechLane,
  segmentCount,
  speechLane,
} from '../domain/index.ts'
import type { Crew } from './crew.ts'
import type { MeasureTask, ResultOf, Task, Trimmed } from './work.ts'

/** What all files of a title share: they are sample-aligned and equally long. */
export type ProgrammeShape = {
  readonly layout: LayoutName
  readonly sampleRateHz: number
  readonly frameCount: number
}

/** Told the share of a stage that is done, 0..1. */
export type Tell = (share: number) => void

/** Gives one task for each segment of a programme to the crew and tells the share that is done. */
export function bySegment<T extends Task>(
  crew: Crew,
  programme: ProgrammeShape,
  task: (segment: number) => T,
  tell: Tell,
): Promise<ResultOf<T>[]> {
  const count = segmentCount(programme.frameCount, programme.sampleRateHz)
  return bySegments(
    crew,
    Array.from({ length: count }, (_, segment) => segment),
    task,
    tell,
  )
}

/** The same for chosen segments only. */
export function bySegments<T extends Task>(
  crew: Crew,
  segments: readonly number[],
  task: (segment: number) => T,
  tell: Tell,
): Promise<ResultOf<T>[]> {
  return giveOut(crew, segments.map(task), tell)
}

function giveOut<T extends Task>(crew: Crew, tasks: readonly T[], tell: Tell): Promise<ResultOf<T>[]> {
  let done = 0
  tell(0)
  return crew.map(tasks, () => {
    done += 1
    tell(done / tasks.length)
  })
}

/** Listens for speech in one of the title's files, segment by segment. */
export async function listenBySegment(
  crew: Crew,
  programme: ProgrammeShape,
  audio: 'source' | 'multichannel' | 'stereo',
  tell: Tell,
): Promise<SpeechLane> {
  return speechLane(await bySegment(crew, programme, (segment) => ({ kind: 'listen', segment, audio }), tell))
}

/** What of a programme its trims are: absent or none where it is heard as it is. */
export type TrimmedProgramme = { readonly [Key in keyof Trimmed]?: Trimmed[Key] | undefined }

/** What tasks are told of a programme's trims; absent where it has none. */
export function trimmedOf({ trims = [], programme }: TrimmedProgramme): Trimmed | undefined {
  return trims.length === 0 ? undefined : { trims, programme }
}

/** How a file is measured: whether the true peak of every 100 ms is kept, and under which trims. */
export type MeasuringWay = Pick<MeasureTask, 'peakHistory' | 'trimmed'>

/** Measures one of the title's files, segment by segment. */
export function measureSegments(
  crew: Crew,
  programme: ProgrammeShape,
  audio: 'source' | 'multichannel' | 'stereo',
  tell: Tell,
  way: MeasuringWay = {},
): Promise<readonly Measured[]> {
  return bySegment(crew, programme, (segment) => ({ kind: 'measure', segment, audio, ...way }), tell)
}

/** The same, all segments joined. */
export async function measureBySegment(...ofFile: Parameters<typeof measureSegments>): Promise<Measured> {
  return joinMeasured(await measureSegments(...ofFile))
}

/** The levels of the sub beside what was measured of a file, where the spec has a line for them. */
export async function withSubLevels(
  crew: Crew,
  programme: ProgrammeShape,
  audio: 'source' | 'multichannel' | 'stereo',
  parts: readonly MeasuredPart[],
  spec: DeliverySpec | null,
  trimmed?: Trimmed,
): Promise<readonly MeasuredPart[]> {
  if (spec === null || !asksForSub(spec) || !LAYOUTS[programme.layout].includes('LFE')) return parts
  const beside: MeasuredPart[] = []
  for (const { startFrame, measured } of parts) {
    const { frameCount } = measured
    const within = { startFrame, endFrame: startFrame + frameCount }
    const task = (segment: number) => ({ kind: 'sub-levels', segment, audio, within, trimmed }) as const
    const levels = await bySegment(crew, { ...programme, frameCount }, task, () => {})
    beside.push({ startFrame, measured: { ...measured, sub100ms: joinedHops(levels) } })
  }
  return beside
}

/** Whether a spec has a line on the level of the LFE. */
function asksForSub({ maxLfeShortTermDbfs, maxLfeOverFrontsDb }: DeliverySpec): boolean {
  return maxLfeShortTermDbfs !== undefined || maxLfeOverFrontsDb !== undefined
}

/** Values of hops, segment after segment, as those of the programme. */
export function joinedHops(segments: readonly Float64Array[]): Float64Array {
  const joined = new Float64Array(segments.reduce((sum, { length }) => sum + length, 0))
  let next = 0
  for (const segment of segments) {
    joined.set(segment, next)
    next += segment.length
  }
  return joined
}

/** Measures stretches of a file, each as if it were a file of its own. */
export async function measureParts(
  crew: Crew,
  programme: ProgrammeShape,
  audio: 'source' | 'multichannel' | 'stereo',
  ranges: readonly FrameRange[],
  tell: Tell,
  way: MeasuringWay = {},
): Promise<readonly MeasuredPart[]> {
  const tasks = ranges.flatMap((within, part) => {
    const count = segmentCount(within.endFrame - within.startFrame, programme.sampleRateHz)
    return Array.from({ length: count }, (_, segment) => ({
      part,
      task: { kind: 'measure', segment, audio, within, ...way } as const,
    }))
  })
  const measured = await giveOut(
    crew,
    tasks.map(({ task }) => task),
    tell,
  )
  return ranges.map(({ startFrame }, part) => ({
    startFrame,
    measured: joinMeasured(measured.filter((_, index) => tasks[index]?.part === part)),
  }))
}
