import {
  type BandLine,
  type BandPowers,
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
import type { BandLevelsTask, MeasureTask, ResultOf, SubLevelsTask, Task, Trimmed } from './tasks.ts'

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

/** How a file is measured: whether the true peak of every 100 ms is kept, under which trims, and folded down or not. */
export type MeasuringWay = Pick<MeasureTask, 'peakHistory' | 'trimmed' | 'foldedTo'>

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

/** The levels of the sub and of bands beside what was measured of a file, where the spec has a line for them. */
export async function withLevels(
  crew: Crew,
  programme: ProgrammeShape,
  audio: 'source' | 'multichannel' | 'stereo',
  parts: readonly MeasuredPart[],
  spec: DeliverySpec | null,
  trimmed?: Trimmed,
): Promise<readonly MeasuredPart[]> {
  const asksForSub = spec !== null && hasLineOnSub(spec) && LAYOUTS[programme.layout].includes('LFE')
  const lines = (spec?.bandLevels ?? []).map(({ id, fromHz, toHz, over, beside }) => ({
    id,
    fromHz,
    toHz,
    over,
    beside,
  }))
  const beside: MeasuredPart[] = []
  for (const { startFrame, measured } of parts) {
    const { frameCount } = measured
    const within = { startFrame, endFrame: startFrame + frameCount }
    const shape = { ...programme, frameCount }
    const task = (segment: number) => ({ segment, audio, within, trimmed })
    const sub = asksForSub ? await hopsOf(crew, shape, (at) => ({ kind: 'sub-levels', ...task(at) }) as const) : null
    const bands =
      lines.length > 0
        ? await hopsOf(crew, shape, (at) => ({ kind: 'band-levels', lines, ...task(at) }) as const)
        : null
    beside.push({
      startFrame,
      measured: {
        ...measured,
        ...(sub !== null && { sub100ms: sub }),
        ...(bands !== null && { bandPowers: lineByLine(bands, lines) }),
      },
    })
  }
  return beside
}

async function hopsOf<T extends SubLevelsTask | BandLevelsTask>(
  crew: Crew,
  programme: ProgrammeShape,
  task: (segment: number) => T,
): Promise<Float64Array> {
  return joinedHops((await bySegment(crew, programme, task, () => {})) as readonly Float64Array[])
}

/** Takes the values of each hop apart. */
export function lineByLine(powers: Float64Array, lines: readonly BandLine[]): readonly BandPowers[] {
  return lines.map((line, index) => ({ line, powers100ms: powers.filter((_, at) => at % lines.length === index) }))
}

/** Whether a spec has a line on the level of the LFE. */
function hasLineOnSub({ maxLfeShortTermDbfs, maxLfeOverFrontsDb }: DeliverySpec): boolean {
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
