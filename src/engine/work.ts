import {
  type AudioSink,
  type AudioSource,
  areBandsAtWork,
  type BandLine,
  bandTreatments,
  type Cancellation,
  type FrameRange,
  framesPerFineHop,
  framesPerHop,
  type LevelStep,
  type Measured,
  type MixerGain,
  type PlaneStore,
  type Segment,
  type StereoRole,
  segmentAt,
  trimPoints,
  type UpmixMoment,
  type UpmixPlan,
  type WaveformPoints,
} from '../domain/index.ts'
import type { Kernels } from '../dsp/index.ts'
import {
  type InspectedSegment,
  inspectSegment,
  levelStepsWithin,
  type ReadSegment,
  readSegment,
  sketchForScenes,
} from './intake/index.ts'
import {
  type AlteredSegment,
  bandLevelsOfSegment,
  bandsOfSegment,
  compareFoldDown,
  compareWithMaster,
  compareWithSource,
  type FoldDownComparison,
  listenToSegment,
  lowEndOfSegment,
  type MasterComparison,
  measureSegment,
  mWeightedEnergies,
  subLevelsOfSegment,
  type TreatedBefore,
  waveformOfStretch,
  writeDifference,
} from './measure/index.ts'
import { measureUpmixed } from './measure-upmixed.ts'
import { float32Bytes, stretchOf } from './other-sources.ts'
import {
  explainUpmix,
  type FoldedSegment,
  type FoldJob,
  foldSegment,
  type Mending,
  mendSegment,
  type RenderedSegment,
  type RenderJob,
  renderSegment,
  riddenSource,
  sourceUnderStaticGain,
  treatedMaster,
  type UpmixedSegment,
  upmixSegment,
} from './render/index.ts'
import { wordsInMemory } from './words-in-memory.ts'

/** Names under which a worker finds audio; the edge knows where it lies. */
export type AudioName = 'source' | 'mended' | 'stem' | 'multichannel' | 'stereo' | 'gain' | 'difference'

/** What a worker has at hand: kernels of its own and the audio of the title. */
export interface Bench {
  readonly kernels: Kernels
  readonly cancellation: Cancellation
  /** The speech detector's weights, as its kernel reads them. */
  readonly speechWeights: Float32Array
  source(name: AudioName): AudioSource
  sink(name: AudioName): AudioSink
  readonly planes: PlaneStore
}

/** The upmix of a two-track: its settings along the programme and, for measuring leakage, a stem sent through them. */
export type UpmixTask = {
  readonly kind: 'upmix'
  readonly segment: number
  readonly plan: UpmixPlan
  readonly through: boolean
}

/** Tells what an upmix sees and makes at a frame of the segment. */
export type ExplainUpmixTask = {
  readonly kind: 'explain-upmix'
  readonly segment: number
  readonly plan: UpmixPlan
  readonly frame: number
}

/** Measures a segment of a file, or of a stretch of it that is measured as if it were a file of its own. */
export type MeasureTask = {
  readonly kind: 'measure'
  readonly segment: number
  readonly audio: AudioName
  readonly within?: FrameRange | undefined
  /** Also keep the true peak of every 100 ms. */
  readonly peakHistory?: boolean
  readonly trimmed?: Trimmed | undefined
}

/** A file is heard under the mixer's trims, as a delivery will render them. */
export type Trimmed = {
  readonly trims: readonly MixerGain[]
  /** The stretches in which trims act; absent: everywhere. */
  readonly programme?: readonly FrameRange[] | undefined
}

/** Sums of squares behind the M-weighting, of each channel. */
export type LeqMTask = {
  readonly kind: 'leq-m'
  readonly segment: number
  readonly audio: AudioName
  readonly trimmed?: Trimmed | undefined
}

/** How the low end below a crossover stands: four mean products of each 100 ms. */
export type LowEndTask = { readonly kind: 'low-end'; readonly segment: number; readonly crossoverHz: number }

/** How the bands between crossovers stand, behind an earlier treatment if there is one. */
export type BandsTask = {
  readonly kind: 'bands'
  readonly segment: number
  readonly crossoversHz: readonly number[]
  readonly before: TreatedBefore | null
}

/** How the LFE and the low end of L, R and C stand in a stretch of a file. */
export type SubLevelsTask = {
  readonly kind: 'sub-levels'
  readonly segment: number
  readonly audio: AudioName
  readonly within: FrameRange
  readonly trimmed?: Trimmed | undefined
}

/** How the bands of a spec's lines stand in a stretch of a file. */
export type BandLevelsTask = Omit<SubLevelsTask, 'kind'> & {
  readonly kind: 'band-levels'
  readonly lines: readonly BandLine[]
}

/** How the LFE and the low end of L, R and C stand in what is to be fitted, behind the treatment of bands that the order's gains hold. */
export type UnfittedSubLevelsTask = {
  readonly kind: 'unfitted-sub-levels'
  readonly segment: number
  readonly order: RenderOrder
}

/** Listens for speech: the probability in each whole 100 ms of the segment, 0..255. */
export type ListenTask = { readonly kind: 'listen'; readonly segment: number; readonly audio: AudioName }

/** The part of a render that is the same for every segment. */
export type RenderOrder = Pick<
  RenderJob,
  'hasLfe' | 'frontSpread' | 'isLtRt' | 'gain' | 'encoding' | 'ditherSeed' | 'stereo'
> & {
  readonly audio: 'source' | 'stem'
  readonly isUpmixed: boolean
  /** What is written: all channels, the stereo, or both. */
  readonly writes: readonly ('multichannel' | 'stereo')[]
  /** Also write the total gain of every frame as a mono float32 file. */
  readonly writesGain: boolean
}

export type RenderTask = { readonly kind: 'render'; readonly segment: number; readonly order: RenderOrder }

/** Renders without writing and measures the words: what would the ceiling take here? */
export type ForecastTask = { readonly kind: 'forecast'; readonly segment: number; readonly order: RenderOrder }

/**
 * What became of a segment beside its source under the static gain. Writes the difference where the order asks for it.
 * `isActing` marks the hops in which more was done.
 */
export type CompareWithSourceTask = {
  readonly kind: 'compare-with-source'
  readonly segment: number
  readonly order: RenderOrder
  readonly isActing: Uint8Array
  readonly writesDifference: boolean
}

/** A fold-down without any fit; its words go to `multichannel`, whatever its layout. */
export type FoldTask = { readonly kind: 'fold'; readonly segment: number; readonly order: FoldOrder }

export type FoldOrder = Omit<FoldJob, 'source'>

/** Is the stereo what the 5.1 becomes under this law? */
export type CompareTask = { readonly kind: 'compare'; readonly segment: number; readonly law: StereoRole }

/** Looks for what the file really is and what is wrong with it. */
export type InspectTask = { readonly kind: 'inspect'; readonly segment: number }

/** Looks for what an upmix needs to know of two tracks. */
export type ReadSourceTask = { readonly kind: 'read-source'; readonly segment: number }

/** Sketches what two tracks sound like, 100 ms at a time. */
export type SketchScenesTask = { readonly kind: 'sketch-scenes'; readonly segment: number }

/** Writes a segment of the mended master. */
export type MendTask = { readonly kind: 'mend'; readonly segment: number; readonly mending: Mending }

/** Looks for places where everything changes its level at once. */
export type LevelStepsTask = {
  readonly kind: 'level-steps'
  readonly segment: number
  readonly trimmed?: Trimmed | undefined
}

/** The extremes of each channel in every 10 ms, to be looked at. */
export type WaveformTask = { readonly kind: 'waveform'; readonly segment: number }

export type Task =
  | UpmixTask
  | ExplainUpmixTask
  | MeasureTask
  | ListenTask
  | LeqMTask
  | LowEndTask
  | BandsTask
  | SubLevelsTask
  | UnfittedSubLevelsTask
  | BandLevelsTask
  | InspectTask
  | ReadSourceTask
  | SketchScenesTask
  | MendTask
  | LevelStepsTask
  | WaveformTask
  | RenderTask
  | ForecastTask
  | FoldTask
  | CompareTask
  | CompareWithSourceTask

/** What is known of one rendered segment besides its bytes. */
export type RenderedFigures = Pick<RenderedSegment, 'alteration' | 'overs' | 'nearTies'> & {
  /** The stereo against the two-track master under the same gains; null where there is no such pair. */
  readonly againstMaster: MasterComparison | null
}

export type FoldedFigures = Omit<FoldedSegment, 'words'>

/** What each kind of task gives back. */
type Results = {
  readonly upmix: Measured
  readonly 'explain-upmix': UpmixMoment
  readonly measure: Measured
  readonly listen: Uint8Array
  readonly 'leq-m': Float64Array
  readonly 'low-end': Float64Array
  readonly bands: Float64Array
  readonly 'sub-levels': Float64Array
  readonly 'unfitted-sub-levels': Float64Array
  readonly 'band-levels': Float64Array
  readonly inspect: InspectedSegment
  readonly 'read-source': ReadSegment
  readonly 'sketch-scenes': Float32Array
  readonly mend: null
  readonly 'level-steps': readonly LevelStep[]
  readonly waveform: WaveformPoints
  readonly render: RenderedFigures
  readonly forecast: Measured
  readonly fold: FoldedFigures
  readonly compare: FoldDownComparison
  readonly 'compare-with-source': AlteredSegment
}

export type ResultOf<T extends Task> = Results[T['kind']]

/** Performs one segment's task inside a worker; the only door to the stages besides `run.ts`. */
export function perform<T extends Task>(bench: Bench, task: T): ResultOf<T> {
  const mark = bench.kernels.arena.mark()
  try {
    return performers[task.kind](bench, task as never) as ResultOf<T>
  } finally {
    bench.kernels.arena.release(mark)
  }
}

const performers = {
  upmix: analyseUpmix,
  render,
  forecast,
  'explain-upmix'(bench: Bench, { plan, frame, ...task }: ExplainUpmixTask): UpmixMoment {
    const source = bench.source('source')
    return explainUpmix(bench.kernels, source, segmentOf(source, task), plan, frame, bench.cancellation)
  },
  measure(bench: Bench, task: MeasureTask): Measured {
    const file = heard(bench, task.audio, task.trimmed)
    const source = task.within === undefined ? file : stretchOf(file, task.within)
    return measureSegment(bench.kernels, source, segmentOf(source, task), bench.cancellation, task.peakHistory)
  },
  'leq-m'(bench: Bench, task: LeqMTask): Float64Array {
    const source = heard(bench, task.audio, task.trimmed)
    return mWeightedEnergies(bench.kernels, source, segmentOf(source, task), bench.cancellation)
  },
  'low-end'(bench: Bench, task: LowEndTask): Float64Array {
    const source = bench.source('source')
    return lowEndOfSegment(bench.kernels, source, segmentOf(source, task), task.crossoverHz, bench.cancellation)
  },
  bands(bench: Bench, { crossoversHz, before, ...task }: BandsTask): Float64Array {
    const source = bench.source('source')
    const segment = segmentOf(source, task)
    return bandsOfSegment(bench.kernels, source, segment, crossoversHz, before, bench.cancellation)
  },
  'sub-levels'(bench: Bench, task: SubLevelsTask): Float64Array {
    const source = stretchOf(heard(bench, task.audio, task.trimmed), task.within)
    return subLevelsOfSegment(bench.kernels, source, segmentOf(source, task), [], bench.cancellation)
  },
  'band-levels'(bench: Bench, { lines, ...task }: BandLevelsTask): Float64Array {
    const source = stretchOf(heard(bench, task.audio, task.trimmed), task.within)
    return bandLevelsOfSegment(bench.kernels, source, segmentOf(source, task), lines, [], bench.cancellation)
  },
  'unfitted-sub-levels'(bench: Bench, { order, ...task }: UnfittedSubLevelsTask): Float64Array {
    const gain = { staticGainDb: 0, rideDb: null, ceilingDbtp: null }
    const source = sourceUnderStaticGain(bench.kernels, { ...renderJob(bench, order), gain })
    const { programme } = order.gain
    const before = bandTreatments(order.gain).map((plan) => ({ plan, programme }))
    return subLevelsOfSegment(bench.kernels, source, segmentOf(source, task), before, bench.cancellation)
  },
  listen(bench: Bench, task: ListenTask): Uint8Array {
    const source = bench.source(task.audio)
    return listenToSegment(bench.kernels, bench.speechWeights, source, segmentOf(source, task), bench.cancellation)
  },
  inspect(bench: Bench, task: InspectTask): InspectedSegment {
    const source = bench.source('source')
    return inspectSegment(bench.kernels, source, segmentOf(source, task), bench.cancellation)
  },
  'read-source'(bench: Bench, task: ReadSourceTask): ReadSegment {
    const source = bench.source('source')
    return readSegment(bench.kernels, source, segmentOf(source, task), bench.cancellation)
  },
  'sketch-scenes'(bench: Bench, task: SketchScenesTask): Float32Array {
    const source = bench.source('source')
    return sketchForScenes(bench.kernels, source, segmentOf(source, task), bench.cancellation)
  },
  mend(bench: Bench, task: MendTask): null {
    const source = bench.source('source')
    const segment = segmentOf(source, task)
    bench.sink('mended').write(mendSegment(bench.kernels, source, segment, task.mending), segment.firstFrame)
    return null
  },
  'level-steps'(bench: Bench, task: LevelStepsTask): readonly LevelStep[] {
    const source = heard(bench, 'source', task.trimmed)
    return levelStepsWithin(bench.kernels, source, segmentOf(source, task), bench.cancellation)
  },
  waveform(bench: Bench, task: WaveformTask): WaveformPoints {
    const source = bench.source('source')
    const pointFrames = framesPerFineHop(source.format.sampleRateHz)
    return waveformOfStretch(bench.kernels, source, segmentOf(source, task), pointFrames, bench.cancellation)
  },
  fold(bench: Bench, task: FoldTask): FoldedFigures {
    const source = bench.source('source')
    const segment = segmentOf(source, task)
    const { words, ...figures } = foldSegment(bench.kernels, { ...task.order, source }, segment, bench.cancellation)
    bench.sink('multichannel').write(words, segment.firstFrame)
    return figures
  },
  compare(bench: Bench, task: CompareTask): FoldDownComparison {
    const multichannel = bench.source('multichannel')
    const segment = segmentOf(multichannel, task)
    return compareFoldDown(bench.kernels, multichannel, bench.source('stereo'), segment, task.law)
  },
  'compare-with-source'(bench: Bench, task: CompareWithSourceTask): AlteredSegment {
    const { kernels, cancellation } = bench
    const delivered = bench.source('multichannel')
    const segment = segmentOf(delivered, task)
    const before = sourceUnderStaticGain(kernels, renderJob(bench, task.order))
    if (task.writesDifference) {
      const sink = bench.sink('difference')
      writeDifference(kernels, delivered, before, segment, (bytes, frame) => sink.write(bytes, frame), cancellation)
    }
    return compareWithSource(kernels, delivered, before, segment, task.isActing, cancellation)
  },
}

/** A file as it is, or under trims. */
function heard(bench: Bench, name: AudioName, trimmed: Trimmed | undefined): AudioSource {
  const file = bench.source(name)
  if (trimmed === undefined) return file
  const hopFrames = framesPerHop(file.format.sampleRateHz)
  const rideDb = trimPoints(trimmed.trims, Math.ceil(file.frameCount / hopFrames), hopFrames)
  const { programme } = trimmed
  return riddenSource(bench.kernels, file, { staticGainDb: 0, rideDb, ceilingDbtp: null, programme })
}

function segmentOf(source: AudioSource, task: { readonly segment: number }): Segment {
  return segmentAt(task.segment, source.frameCount, source.format.sampleRateHz)
}

/** Upmixes a segment, keeps what it takes out of the two tracks in the scratch planes, and measures the 5.1 to be. */
function analyseUpmix(bench: Bench, task: UpmixTask): Measured {
  const source = bench.source('source')
  const segment = segmentOf(source, task)
  const upmixed = upmixSegment(bench.kernels, source, segment, task.plan, {
    cancellation: bench.cancellation,
    ...(task.through && { through: bench.source('stem') }),
  })
  keepPlanes(bench.planes, upmixed, segment)
  return measureUpmixed(bench.kernels, source, segment, upmixed, task.plan)
}

function keepPlanes(planes: PlaneStore, upmixed: UpmixedSegment, segment: Segment): void {
  const first = segment.firstFrame - upmixed.firstFrame
  const { centre, leftSurround, rightSurround, lfe } = upmixed
  const extracted = lfe === null ? [centre, leftSurround, rightSurround] : [centre, leftSurround, rightSurround, lfe]
  for (const [plane, samples] of extracted.entries()) {
    planes.write(plane, segment.firstFrame, samples.subarray(first, first + segment.frameCount))
  }
}

function render(bench: Bench, task: RenderTask): RenderedFigures {
  const { order } = task
  const source = bench.source(order.audio)
  const segment = segmentOf(source, task)
  const rendered = renderSegment(bench.kernels, renderJob(bench, order), segment, bench.cancellation)
  for (const file of order.writes) {
    const words = rendered[file]
    if (words !== null) bench.sink(file).write(words, segment.firstFrame)
  }
  if (order.writesGain) bench.sink('gain').write(float32Bytes(rendered.gain), segment.firstFrame)
  const { alteration, overs, nearTies, stereo, gain } = rendered
  const { sampleRateHz } = source.format
  const isTreated = bandTreatments(order.gain).some((bands) => areBandsAtWork(bands, { ...segment, sampleRateHz }))
  const againstMaster =
    stereo !== null && source.layout === '2.0'
      ? compareWithMaster(
          bench.kernels,
          wordsInMemory(stereo, source, order, '2.0', segment.firstFrame),
          isTreated ? treatedMaster(bench.kernels, renderJob(bench, order), segment) : source,
          segment,
          gain,
        )
      : null
  return { alteration, overs, nearTies, againstMaster }
}

function forecast(bench: Bench, task: ForecastTask): Measured {
  const source = bench.source(task.order.audio)
  const segment = segmentOf(source, task)
  const rendered = renderSegment(bench.kernels, renderJob(bench, task.order), segment, bench.cancellation)
  const layout = task.order.isUpmixed ? '5.1' : source.layout
  const words = wordsInMemory(rendered.multichannel, source, task.order, layout, 0)
  return measureSegment(
    bench.kernels,
    words,
    { index: 0, firstFrame: 0, frameCount: segment.frameCount },
    bench.cancellation,
  )
}

function renderJob(bench: Bench, order: RenderOrder): RenderJob {
  const { audio, isUpmixed, writes, writesGain, ...job } = order
  return { ...job, source: bench.source(audio), upmixed: isUpmixed ? bench.planes : null }
}
