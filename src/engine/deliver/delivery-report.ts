import type {
  Alteration,
  AppliedTrim,
  BandHistory,
  BandLinePlan,
  BandName,
  BandsPlan,
  CeilingEvent,
  CeilingWork,
  DeliveredFile,
  DeliveryReport,
  DeliverySpec,
  DialogueHistory,
  Finding,
  FoldDownLock,
  LoudnessCurves,
  LowEndPlan,
  Margin,
  Measurements,
  ProgrammeLanes,
  RideHistory,
} from '../../domain/index.ts'
import { BANDS, HOPS_PER_SECOND, peakToLoudness } from '../../domain/index.ts'
import type { DialogueAltered } from './altered-dialogue.ts'
import { alterationHistory, alteredOctaves, type OctaveHistory } from './altered-octaves.ts'
import { CAUTIONS } from './cautions.ts'
import { correlation, largestDistance } from './correlation.ts'
import { columnSecondsFor, greatestInColumns, thin, thinHistory } from './thin.ts'
import { verdictSentence } from './verdict.ts'

/** What the stages hand over at the end of a delivery. Paths are plain file names: the report knows no folders. */
export type DeliveryParts = {
  readonly tool: { readonly version: string; readonly kernelsSha256: string }
  readonly title: { readonly id: string; readonly name: string; readonly language?: string }
  readonly passes: number
  readonly spec: DeliverySpec
  readonly source: {
    readonly path: string
    readonly sha256: string
    readonly measurements: Measurements
    /** Null: the source is not drawn beside the delivery. */
    readonly curves: LoudnessCurves | null
    readonly originatedOn: string | null
    readonly startOfDaySeconds: number | null
  }
  /** The file that the fit is anchored on comes first; `curves` are of that file. */
  readonly deliverables: readonly DeliveredFile[]
  readonly curves: LoudnessCurves
  /** Of the same file; null: no lanes are drawn. */
  readonly lanes: ProgrammeLanes | null
  readonly foldDownLock: FoldDownLock | null
  readonly judgement: {
    readonly conforms: boolean
    readonly findings: readonly Finding[]
    readonly margins: readonly Margin[]
  }
  readonly trims: readonly AppliedTrim[]
  readonly staticGainDb: number
  readonly ride: (NonNullable<Alteration['ride']> & RideCurve) | null
  readonly lowEnd: LowEndPlan | null
  readonly bands: BandsPlan | null
  /** What lines of the spec made of single bands. */
  readonly bandLines: readonly Omit<BandLinePlan, 'pass'>[]
  /** The LFE's own ride; null: it has none. */
  readonly lfe: (NonNullable<Alteration['lfe']> & RideCurve) | null
  readonly ceiling:
    | (Pick<CeilingWork, 'secondsBelow01Db' | 'secondsBelow1Db' | 'secondsBelow3Db'> & {
        readonly events: readonly CeilingEvent[]
        readonly lfe: CeilingWork | null
      } & Pick<NonNullable<Alteration['ceiling']>, 'groups' | 'frontResidue'>)
    | null
  /** What became of dialogue; null where nobody listened or spoke, or nothing was rendered. */
  readonly dialogue: DialogueAltered | null
  /** Hop by hop; null where nothing was rendered. */
  readonly altered: (OctaveHistory & { readonly ceilingReductionDb: Float64Array }) | null
  readonly settings: Readonly<Record<string, number | string>>
}

/** The ride as it was rendered: one point at the centre of each begun 100 ms hop, and its corridor on the same points. */
export type RideCurve = {
  readonly rideDb: Float64Array
  readonly corridorDb: { readonly lowest: Float64Array; readonly highest: Float64Array } | null
}

/** Gathers everything that the JSON, the page and the manifest of a delivery say. */
export function deliveryReport(parts: DeliveryParts): DeliveryReport {
  const { tool, title, passes, spec, deliverables, foldDownLock, judgement, settings, source, curves } = parts
  const { conforms, findings, margins } = judgement
  const { durationSeconds } = source.measurements
  return {
    tool: { name: 'plimsoll', ...tool },
    title,
    conforms,
    verdict: verdictSentence(title.name, spec, deliverables, findings, margins),
    passes,
    spec,
    source: {
      path: source.path,
      sha256: source.sha256,
      layout: source.measurements.layout,
      measurements: source.measurements,
      originatedOn: source.originatedOn,
      startOfDaySeconds: source.startOfDaySeconds,
    },
    deliverables,
    foldDownLock,
    alteration: alterationOf(parts),
    findings,
    margins,
    history: {
      source: source.curves === null ? null : thinHistory(source.curves, durationSeconds),
      delivered: thinHistory(curves, durationSeconds),
      lanes: parts.lanes,
    },
    ride: parts.ride === null ? null : thinRide(parts.ride, durationSeconds),
    lfeRide: parts.lfe === null ? null : thinRide(parts.lfe, durationSeconds),
    bands: reductions(parts).map((band) => thinBand(band, durationSeconds)),
    ceilingEvents: parts.ceiling?.events ?? [],
    altered:
      parts.altered === null
        ? null
        : alterationHistory(parts.altered, parts.altered.ceilingReductionDb, durationSeconds),
    dialogue: parts.dialogue === null ? null : dialogueHistory(parts.dialogue, durationSeconds),
    settings,
    cautions: CAUTIONS,
  }
}

function dialogueHistory({ lines, takenByOthers }: DialogueAltered, durationSeconds: number): DialogueHistory {
  const columnSeconds = columnSecondsFor(durationSeconds, 1 / HOPS_PER_SECOND)
  return {
    lines,
    columnSeconds,
    byOtherChannels:
      takenByOthers === null
        ? null
        : {
            rideDb: greatestInColumns(takenByOthers.rideDb, columnSeconds),
            ceilingDb: greatestInColumns(takenByOthers.ceilingDb, columnSeconds),
          },
  }
}

function alterationOf(parts: DeliveryParts): Alteration {
  const { ride, ceiling, source, deliverables } = parts
  // An upmix reads lower than its master by itself, so the stereo is what tells of the fit.
  const alike = deliverables.find(({ measurements }) => measurements.layout === source.measurements.layout)
  const after = alike?.measurements ?? source.measurements
  return {
    trims: parts.trims,
    dialogue: parts.dialogue?.figures ?? null,
    total: {
      staticGainDb: parts.staticGainDb,
      plrBeforeLu: peakToLoudness(source.measurements),
      plrAfterLu: peakToLoudness(after),
      shortTermCorrelation:
        source.curves === null ? null : correlation(source.curves.shortTerm, parts.curves.shortTerm),
      shortTermLargestChangeLu:
        source.curves === null
          ? null
          : largestDistance(source.curves.shortTerm, parts.curves.shortTerm, parts.staticGainDb),
    },
    ride: ride === null ? null : rideFigures(ride),
    bands: parts.lowEnd === null ? null : lowEndFigures(parts.lowEnd),
    multiband: parts.bands === null ? null : bandReductions(parts.bands).map(bandFigures),
    bandLines: parts.bandLines.length === 0 ? null : parts.bandLines.map(bandLineFigures),
    lfe: parts.lfe === null ? null : lfeFigures(parts.lfe),
    ceiling: ceiling === null ? null : ceilingWork(ceiling),
    octaves: parts.altered === null ? null : alteredOctaves(parts.altered),
  }
}

function ceilingWork({ events, ...work }: NonNullable<DeliveryParts['ceiling']>): NonNullable<Alteration['ceiling']> {
  return {
    events: events.length,
    deepestDb: events.reduce((most, { deepestDb }) => Math.max(most, deepestDb), 0),
    ...work,
  }
}

function lowEndFigures({ crossoverHz, gainDb }: LowEndPlan): NonNullable<Alteration['bands']> {
  const { deepestDb, areaDbSeconds, actingShare } = reductionFigures(gainDb)
  return {
    crossoverHz,
    lowEndDeepestDb: deepestDb,
    lowEndAreaDbSeconds: areaDbSeconds,
    lowEndActingShare: actingShare,
  }
}

/** A band that was turned down, and its gain on the points of the ride. */
type BandReduction<Name = string> = Pick<BandHistory, 'fromHz' | 'toHz'> & {
  readonly name: Name
  readonly gainDb: Float64Array
}

/** The low end, where it was in excess, the bands that do not rest, lowest first, and those of lines. */
function reductions({
  lowEnd,
  bands,
  bandLines,
}: Pick<DeliveryParts, 'lowEnd' | 'bands' | 'bandLines'>): readonly BandReduction[] {
  const low = { name: 'low end', fromHz: null, toHz: lowEnd?.crossoverHz ?? null } as const
  return [
    ...(lowEnd === null ? [] : [{ ...low, gainDb: lowEnd.gainDb }]),
    ...(bands === null ? [] : bandReductions(bands)),
    ...bandLines.map(({ line, ...band }) => ({ ...band, name: line.replaceAll('-', ' ') })),
  ]
}

function bandReductions({ crossoversHz, gainsDb }: BandsPlan): readonly BandReduction<BandName>[] {
  return BANDS.flatMap(({ name }, band) => {
    const gainDb = gainsDb[band] ?? null
    if (gainDb === null) return []
    return [{ name, fromHz: crossoversHz[band - 1] ?? null, toHz: crossoversHz[band] ?? null, gainDb }]
  })
}

function bandFigures({
  name,
  fromHz,
  toHz,
  gainDb,
}: BandReduction<BandName>): NonNullable<Alteration['multiband']>[number] {
  return { name, fromHz, toHz, ...reductionFigures(gainDb) }
}

function bandLineFigures({
  line,
  fromHz,
  toHz,
  gainDb,
}: Omit<BandLinePlan, 'pass'>): NonNullable<Alteration['bandLines']>[number] {
  const steps = gainDb.subarray(1).map((db, k) => Math.abs(db - (gainDb[k] as number)))
  const movementDb = steps.reduce((sum, step) => sum + step, 0)
  return { line, fromHz, toHz, ...reductionFigures(gainDb), movementDb }
}

function reductionFigures(gainDb: Float64Array) {
  const acting = gainDb.filter((db) => db < 0)
  return {
    deepestDb: acting.reduce((deepest, db) => Math.max(deepest, -db), 0),
    areaDbSeconds: acting.reduce((sum, db) => sum - db, 0) / HOPS_PER_SECOND,
    actingShare: acting.length / gainDb.length,
  }
}

function thinBand({ gainDb, ...band }: BandReduction, durationSeconds: number): BandHistory {
  const { columnSeconds, thinned } = thinPoints(durationSeconds)
  return { ...band, columnSeconds, reductionDb: thinned(gainDb.map((db) => Math.abs(db))) }
}

function rideFigures(ride: NonNullable<Alteration['ride']>): NonNullable<Alteration['ride']> {
  const {
    statement,
    movementDb,
    weightedMovementDb,
    movementInDialogueDb,
    lines,
    hits,
    largestMoveDb,
    areaUnderReductionDbSeconds,
    largestSlewDbPerSecond,
    movingShare,
    touching,
  } = ride
  return {
    statement,
    movementDb,
    weightedMovementDb,
    movementInDialogueDb,
    lines,
    hits,
    largestMoveDb,
    areaUnderReductionDbSeconds,
    largestSlewDbPerSecond,
    movingShare,
    touching: touching.map(({ startSeconds, endSeconds, rideDb, line }) => ({
      startSeconds,
      endSeconds,
      rideDb,
      line,
    })),
  }
}

function lfeFigures(ride: NonNullable<Alteration['lfe']>): NonNullable<Alteration['lfe']> {
  const { statement, movementDb, largestMoveDb, areaUnderReductionDbSeconds, largestSlewDbPerSecond, movingShare } =
    ride
  const { touching } = ride
  return {
    statement,
    movementDb,
    largestMoveDb,
    areaUnderReductionDbSeconds,
    largestSlewDbPerSecond,
    movingShare,
    touching,
  }
}

function thinRide(ride: RideCurve, durationSeconds: number): RideHistory {
  const { columnSeconds, thinned } = thinPoints(durationSeconds)
  return {
    columnSeconds,
    gainDb: thinned(ride.rideDb),
    corridorDb:
      ride.corridorDb === null
        ? null
        : { lowest: thinned(ride.corridorDb.lowest).low, highest: thinned(ride.corridorDb.highest).high },
  }
}

/** Thins curves on the points of the ride. */
function thinPoints(durationSeconds: number) {
  const hopSeconds = 1 / HOPS_PER_SECOND
  const columnSeconds = columnSecondsFor(durationSeconds, hopSeconds)
  const thinned = (values: Float64Array) => thin(values, hopSeconds, hopSeconds / 2, durationSeconds, columnSeconds)
  return { columnSeconds, thinned }
}
