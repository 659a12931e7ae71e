import type {
  AudioSink,
  AudioSource,
  BandLine,
  BandLinePlan,
  Cancellation,
  FrameRange,
  LevelStep,
  Measured,
  MixerGain,
  PlaneStore,
  StereoRole,
  UpmixMoment,
  UpmixPlan,
  WaveformPoints,
} from '../domain/index.ts'
import type { Kernels } from '../dsp/index.ts'
import type { InspectedSegment, ReadSegment } from './intake/index.ts'
import type { AlteredSegment, FoldDownComparison, MasterComparison, TreatedBefore } from './measure/index.ts'
import type { FoldedSegment, FoldJob, FoldTarget, Mending, RenderedSegment, RenderJob } from './render/index.ts'

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
  /** Not the file but this fold-down of it. */
  readonly foldedTo?: FoldTarget
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

/**
 * How the bands of a spec's lines stand in what is to be fitted, behind the treatment of bands that the order's gains
 * hold: values of each 100 ms as `BandStandings` has them.
 */
export type BandStandingsTask = {
  readonly kind: 'band-standings'
  readonly segment: number
  readonly order: RenderOrder
  /** In the order in which they are treated. */
  readonly lines: readonly (Pick<BandLinePlan, 'line' | 'pass' | 'fromHz' | 'toHz'> & { readonly isSought: boolean })[]
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
  | BandStandingsTask
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
  readonly 'band-standings': Float64Array
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
