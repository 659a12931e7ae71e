import {
  type AudioSource,
  areBandsAtWork,
  bandLineAsBands,
  bandTreatments,
  framesPerFineHop,
  framesPerHop,
  type LevelStep,
  type Measured,
  type PlaneStore,
  type Segment,
  segmentAt,
  trimPoints,
  type UpmixMoment,
  type WaveformPoints,
} from '../domain/index.ts'
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
  bandStandingsOfSegment,
  bandsOfSegment,
  compareFoldDown,
  compareWithMaster,
  compareWithSource,
  type FoldDownComparison,
  listenToSegment,
  lowEndOfSegment,
  measureSegment,
  mWeightedEnergies,
  subLevelsOfSegment,
  waveformOfStretch,
  writeDifference,
} from './measure/index.ts'
import { measureUpmixed } from './measure-upmixed.ts'
import { float32Bytes, stretchOf } from './other-sources.ts'
import {
  explainUpmix,
  foldedSource,
  foldSegment,
  mendSegment,
  type RenderJob,
  renderSegment,
  riddenSource,
  sourceUnderStaticGain,
  treatedMaster,
  type UpmixedSegment,
  upmixSegment,
} from './render/index.ts'
import type {
  AudioName,
  BandLevelsTask,
  BandStandingsTask,
  BandsTask,
  Bench,
  CompareTask,
  CompareWithSourceTask,
  ExplainUpmixTask,
  FoldedFigures,
  FoldTask,
  ForecastTask,
  InspectTask,
  LeqMTask,
  LevelStepsTask,
  ListenTask,
  LowEndTask,
  MeasureTask,
  MendTask,
  ReadSourceTask,
  RenderedFigures,
  RenderOrder,
  RenderTask,
  ResultOf,
  SketchScenesTask,
  SubLevelsTask,
  Task,
  Trimmed,
  UnfittedSubLevelsTask,
  UpmixTask,
  WaveformTask,
} from './tasks.ts'
import { wordsInMemory } from './words-in-memory.ts'

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
    const heardOf = task.within === undefined ? file : stretchOf(file, task.within)
    const source = task.foldedTo === undefined ? heardOf : foldedSource(bench.kernels, heardOf, task.foldedTo)
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
  'band-standings'(bench: Bench, { order, lines, ...task }: BandStandingsTask): Float64Array {
    const gain = { staticGainDb: 0, rideDb: null, ceilingDbtp: null }
    const mix = sourceUnderStaticGain(bench.kernels, { ...renderJob(bench, order), gain })
    const { programme, bandLines = [] } = order.gain
    const stereo = order.stereo ? (order.isUpmixed ? bench.source(order.audio) : 'fold') : null
    const lookedAt = lines.map((line) => {
      const solved = bandLines.find((plan) => plan.line === line.line && plan.pass === line.pass)
      return { ...line, plan: solved === undefined ? null : bandLineAsBands(solved) }
    })
    const before = bandTreatments({ ...order.gain, bandLines: [] }).map((plan) => ({ plan, programme }))
    const segment = segmentOf(mix, task)
    return bandStandingsOfSegment(
      bench.kernels,
      { mix, stereo },
      segment,
      lookedAt,
      before,
      programme,
      bench.cancellation,
    )
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
