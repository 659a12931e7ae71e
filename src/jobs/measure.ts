import {
  type Clock,
  type DeliverySpec,
  describeParts,
  type Finding,
  type FrameRange,
  type LoudnessCurves,
  type LoudnessFigures,
  type LoudnessHistory,
  labelAt,
  type Margin,
  type MeasuredPart,
  type Measurements,
  type Passage,
  type ProgrammeLanes,
  type ProgrammeSegment,
  type SpeechLane,
  withDialogue,
} from '../domain/index.ts'
import {
  inspectProgramme,
  measureLeqM,
  measureProgramme,
  type Progress,
  passagesOfProgramme,
  thinHistory,
  thinLanes,
} from '../engine/index.ts'
import { leftOut } from './left-out.ts'
import { reelRanges } from './reels.ts'
import { ScratchFolder } from './scratch.ts'
import { type OpenedSource, programmeOf } from './source.ts'
import { breaksOf, nameTitle, openTitle, programmeRanges, type Title, type TitleOptions } from './title.ts'
import { trimsCounted } from './trims-counted.ts'
import { isListening, type JobOptions, withCrew } from './with-crew.ts'

/** How one stretch of a programme stands by itself. */
export type MeasuredStretch = LoudnessFigures & {
  /** As the map calls it, or the file of a reel; null: it has no name. */
  readonly name: string | null
  readonly startSeconds: number
  readonly endSeconds: number
  readonly timecode: string | null
  readonly dialogueLoudnessLkfs: number | null
}

export type MeasuredFile = {
  readonly path: string
  readonly measurements: Measurements
  /** The figures without the trims of the sheet; null where it has none. */
  readonly withoutTrims: LoudnessFigures | null
  readonly bitsPerSample: number
  /** What it was held against; null: no spec was named. */
  readonly spec: Pick<DeliverySpec, 'id' | 'title' | 'edition'> | null
  readonly conforms: boolean
  readonly findings: readonly Finding[]
  /** Empty where no spec was named. */
  readonly margins: readonly Margin[]
  /** The programme segments, each by itself; empty where all of it is programme. */
  readonly segments: readonly MeasuredStretch[]
  /** The reels, each by itself; empty where it is one file. */
  readonly reels: readonly MeasuredStretch[]
  readonly curves: LoudnessCurves
  /** What a picture shows: the same thinned, the spec's lines, the passages if they were asked for, the lanes. */
  readonly drawn: {
    readonly history: LoudnessHistory
    readonly lanes: ProgrammeLanes
    readonly spec: DeliverySpec | null
    readonly passages: readonly Passage[]
  }
  readonly startOfDaySeconds: number | null
  /** Leq(m) of the file from beginning to end; absent where it was not asked for, null of silence. */
  readonly leqMDb?: number | null
}

export type MeasureOptions = JobOptions &
  TitleOptions & {
    /** `auto`: where no sheet has a map, the one that is found in the sound counts. */
    readonly segments?: 'auto' | undefined
    readonly leqM?: boolean | undefined
    /** Also look for the passages that a picture marks; only against a spec. */
    readonly marksPassages?: boolean | undefined
    /** Work on a thread beside this one even with one worker, so that several files can be measured at a time. */
    readonly aside?: boolean | undefined
  }

/** Measures a file, or the programme of a sheet, against a spec if one is given. */
export function measureFile(
  path: string,
  options: MeasureOptions,
  progress?: (progress: Progress) => void,
): Promise<MeasuredFile> {
  return measureReels([path], options, progress)
}

/** Measures several files as the reels of one programme: one gate over all their blocks, none of which crosses a border. */
export async function measureReels(
  paths: readonly string[],
  options: MeasureOptions,
  progress?: (progress: Progress) => void,
): Promise<MeasuredFile> {
  using scratch = new ScratchFolder()
  const title = await openTitle(await nameTitle(paths), () => scratch.path, options)
  const { source, spec } = title
  const listens = isListening(options)
  const watch = progress === undefined ? {} : { progress }
  return await withCrew(source, { ...options, listens }, async (crew) => {
    const map = options.segments === 'auto' ? await mapInSound(crew, title, watch, listens) : mapOfSheet(title)
    const { heard, programme, breaks } = map
    const { gains: trims } = title.placed
    const shape = { ...programmeOf(source), programme, breaks, trims, ...(heard !== undefined && { heard }) }
    const measurement =
      spec !== null && options.marksPassages === true
        ? await passagesOfProgramme(crew, shape, spec, watch, listens)
        : { ...(await measureProgramme(crew, shape, spec, watch, listens)), passages: [] }
    const { measured, parts, measurements, judgement, curves, speech, passages, withoutTrims } = measurement
    const cinema = options.leqM === true ? await measureLeqM(crew, shape) : null
    const findings = [
      ...source.findings,
      ...map.findings,
      ...trimsCounted(trims.length, withoutTrims),
      ...judgement.findings,
      ...(cinema?.findings ?? []),
    ]
    const stretches = (ranges: readonly (FrameRange & { readonly name: string | null })[]) =>
      ranges.flatMap((range) => measuredStretch(range, parts, speech, source))
    return {
      path: paths.join(' + '),
      measurements,
      withoutTrims,
      bitsPerSample: source.bitsPerSample,
      spec: spec === null ? null : { id: spec.id, title: spec.title, edition: spec.edition },
      conforms: findings.every((finding) => finding.severity !== 'fail'),
      findings,
      margins: judgement.margins,
      segments: stretches(map.segments.filter(({ kind }) => kind === 'programme')),
      reels: source.reels.length === 0 ? [] : stretches(namedReels(source)),
      curves,
      drawn: {
        history: thinHistory(curves, measurements.durationSeconds),
        lanes: thinLanes(measured, speech),
        spec,
        passages,
      },
      startOfDaySeconds: shape.startOfDaySeconds,
      ...(cinema !== null && { leqMDb: cinema.leqMDb }),
    }
  })
}

/** What of a file counts, and what is to be said of the rest. */
type CountedMap = {
  readonly segments: readonly ProgrammeSegment[]
  readonly programme: readonly FrameRange[] | undefined
  readonly breaks: readonly FrameRange[]
  readonly findings: readonly Finding[]
  /** Where there is dialogue, if that is known by now. */
  readonly heard?: SpeechLane | null
}

function mapOfSheet({ source, placed, programme }: Title): CountedMap {
  const { segments } = placed
  return { segments, programme, breaks: breaksOf(segments), findings: leftOut(segments, source, 'the sheet') }
}

/** The map that is found in the sound, unless a sheet has one. */
async function mapInSound(
  crew: Parameters<typeof inspectProgramme>[0],
  title: Title,
  watch: Parameters<typeof inspectProgramme>[2],
  listens: boolean,
): Promise<CountedMap> {
  if (title.placed.segments.length > 0) return mapOfSheet(title)
  const { source } = title
  const { inspection, speech } = await inspectProgramme(crew, programmeOf(source), watch, listens)
  const found = inspection.structure.segments
  const segments = found.flatMap(({ kind, startFrame, endFrame, name }) =>
    kind === 'silence' ? [] : [{ kind, startFrame, endFrame, name }],
  )
  // A file in which no programme is found is measured as it is, rather than not at all.
  if (!segments.some(({ kind }) => kind === 'programme')) return { ...mapOfSheet(title), heard: speech }
  return {
    segments,
    programme: programmeRanges(source, segments),
    breaks: breaksOf(segments),
    findings: leftOut(found, source, 'the sound'),
    heard: speech,
  }
}

function namedReels(source: OpenedSource): readonly (FrameRange & { readonly name: string })[] {
  return reelRanges(source).map((range, index) => ({ ...range, name: (source.reels[index] as OpenedSource).path }))
}

/** The figures of the parts that lie in a stretch; none where nothing of it is programme. */
function measuredStretch(
  { startFrame, endFrame, name }: FrameRange & { readonly name: string | null },
  parts: readonly MeasuredPart[],
  speech: SpeechLane | null,
  {
    format,
    clock,
    frameCount,
  }: { readonly format: { readonly sampleRateHz: number }; readonly clock: Clock | null; readonly frameCount: number },
): readonly MeasuredStretch[] {
  const within = parts.filter((part) => part.startFrame >= startFrame && part.startFrame < endFrame)
  if (within.length === 0) return []
  const measured = describeParts(
    within.map((part) => part.measured),
    frameCount,
  )
  const figures = withDialogue(measured, within, speech)
  return [
    {
      name,
      startSeconds: startFrame / format.sampleRateHz,
      endSeconds: endFrame / format.sampleRateHz,
      timecode: clock === null ? null : labelAt(clock, startFrame),
      programmeLoudnessLkfs: figures.programmeLoudnessLkfs,
      loudnessRangeLu: figures.loudnessRangeLu,
      maxMomentaryLkfs: figures.maxMomentaryLkfs,
      maxShortTermLkfs: figures.maxShortTermLkfs,
      maxTruePeakDbtp: figures.maxTruePeakDbtp,
      samplePeakDbfs: figures.samplePeakDbfs,
      dialogueLoudnessLkfs: figures.dialogueLoudnessLkfs,
    },
  ]
}

/** Loudness over time as CSV (RFC 4180): seconds, momentary and short-term loudness at the end of each window, every 100 ms. */
export function seriesCsv(curves: LoudnessCurves): string {
  const { momentary, shortTerm } = curves
  const rows = ['seconds,momentaryLkfs,shortTermLkfs']
  const stride = Math.round(CSV_STEP_SECONDS / momentary.hopSeconds)
  const lag = Math.round((shortTerm.windowSeconds - momentary.windowSeconds) / momentary.hopSeconds)
  for (let index = 0; index < momentary.lkfs.length; index += stride) {
    const seconds = index * momentary.hopSeconds + momentary.windowSeconds
    rows.push(`${seconds.toFixed(1)},${cell(momentary.lkfs[index])},${cell(shortTerm.lkfs[index - lag])}`)
  }
  return `${rows.join('\r\n')}\r\n`
}

const CSV_STEP_SECONDS = 0.1

/** A window that is not full yet, or in which nothing is heard, has no value. */
function cell(lkfs: number | undefined): string {
  return lkfs === undefined || !Number.isFinite(lkfs) ? '' : lkfs.toFixed(2)
}
