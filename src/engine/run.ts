import {
  assert,
  bandField,
  type DeliveredFile,
  type DeliverySpec,
  type Finding,
  type LoudnessCurves,
  type LoudnessFigures,
  loudnessOfParts,
  type Measured,
  type MeasuredPart,
  type Measurements,
  margins,
  programmeSeconds,
  type SpeechLane,
  specForLength,
} from '../domain/index.ts'
import { compareWithSource } from './alteration-pass.ts'
import { meetBandLines, type Prepared } from './band-lines-pass.ts'
import { treatBandsFirst } from './bands-pass.ts'
import {
  listenBySegment,
  measureBySegment,
  measureParts,
  measureSegments,
  type ProgrammeShape,
  type Tell,
  trimmedOf,
  withLevels,
} from './by-segment.ts'
import type { Crew, Watch } from './crew.ts'
import { bandLinesToMeet, bandShifts, type Decision, type Render, refineGains, refineLfe } from './decide/index.ts'
import type { DeliveryOrder, DeliveryOutcome, DeliveryStore } from './delivery-order.ts'
import { type Analysed, decide, joinAnalysed } from './forecast-pass.ts'
import { gatherReport } from './gather-report.ts'
import { Stages } from './progress-shares.ts'
import { render } from './render-pass.ts'
import type { RenderedFigures } from './tasks.ts'
import { upmixedSegments } from './unfitted-pass.ts'
import { type Judgement, judge, judgeBreaks, judgeSignal } from './verify/index.ts'
import {
  describeProgramme,
  judgeContext,
  type Origin,
  openedBy,
  partsOf,
  roleOf,
  type Verified,
  type VerifiedFile,
  verifyFiles,
  type WrittenFile,
  withFoldDowns,
  writtenFiles,
} from './verify-pass.ts'

/** Renders that a delivery may take before it is given up. */
const MOST_PASSES = 3

/**
 * Makes a delivery: analyse, decide, render, verify on the bytes written, and back to decide at most twice.
 * What does not conform is an outcome, not an error. Throws `Refusal` and `Cancelled` of the crew and the store.
 */
export async function deliverProgramme(
  asked: DeliveryOrder,
  crew: Crew,
  store: DeliveryStore,
  watch: Watch,
): Promise<DeliveryOutcome> {
  const order = ofItsLength(asked)
  const stages = new Stages(watch)
  const { analysis, ...first } = await prepare(order, crew, stages)
  let prepared: Prepared = first
  let { decision } = prepared.forecast
  if (!decision.feasible && !decision.isUnproved && !order.keepsNonconforming) {
    return { report: await gatherReport(order, analysis, decision, null, 0), decision, isDelivered: false }
  }
  const renders: Render[] = []
  for (let pass = 1; ; pass++) {
    store.beginPass()
    const rendered = await render(order, decision, crew, stages.tell('render'))
    const tell = stages.tell('verify')
    const verified = await verify(order, decision, rendered, analysis.speech, crew, (share) => tell(VERIFYING * share))
    const { measurements } = verified.files[0] as VerifiedFile
    const ltRt = verified.files.find(({ role }) => role === 'lt-rt')?.measurements
    const bandLevels = verified.files.map(({ measurements: of }) => of.bandLevels ?? {})
    renders.push({ decision, measurements, bandLevels, ...(ltRt !== undefined && { ltRt }) })
    // Trims alone are what they are: nothing is solved that another render could mend.
    const isLast = isSettled(order, verified.judgement) || pass === MOST_PASSES || order.fit.stages === 'trims'
    if (!isLast && mendable(order, verified.judgement).includes('band-level')) {
      prepared = await meetBandLines(
        order,
        analysis,
        prepared,
        crew,
        stages.tell('forecast'),
        bandShifts(renders, order.spec),
      )
    }
    const next = isLast ? decision : refined(order, verified.judgement, prepared, renders)
    if (isLast || !next.feasible) {
      const files = await withFoldDowns(crew, order.source, verified.files, order.programme, (share) =>
        tell(VERIFYING + (FOLDING - VERIFYING) * share),
      )
      const altered = await compareWithSource(order, decision, rendered, crew, (share) =>
        tell(FOLDING + (1 - FOLDING) * share),
      )
      const delivered = await store.seal(files.map(sealable), verified.judgement.conforms)
      const told = { ...decision, findings: standing(next.findings, verified.judgement.conforms) }
      const proof = { ...verified, files, rendered, altered, delivered }
      const report = await gatherReport(order, analysis, told, proof, pass)
      return { report, decision, isDelivered: report.conforms || order.keepsNonconforming }
    }
    decision = next
  }
}

/** The next decision; where nothing but the LFE missed its lines, the gains of all other channels stay as they are. */
function refined(
  order: DeliveryOrder,
  judgement: Judgement,
  { treated, forecast }: Prepared,
  renders: readonly Render[],
): Decision {
  const { spec, fit } = order
  const refine = mendable(order, judgement).every((id) => id.startsWith('lfe-')) ? refineLfe : refineGains
  return refine(treated.whole, spec, fit, renders, forecast.correction)
}

/** What the bytes have refuted is not told: a file that conforms has no line out of reach. */
function standing(findings: readonly Finding[], conforms: boolean): readonly Finding[] {
  return conforms ? findings.filter(({ severity }) => severity !== 'fail') : findings
}

/**
 * The decision that a delivery would begin with: all that has to be known to hear it without a render. With the loudness
 * that the ceiling took on trial, in dB, 0 or less, one value each 100 ms; null: it has nothing to do. And with what was
 * measured of what is to be fitted.
 */
export async function planProgramme(
  order: DeliveryOrder,
  crew: Crew,
  watch: Watch,
): Promise<Decision & { readonly ceilingLossDb: Float64Array | null; readonly whole: Measured }> {
  const { analysis, forecast } = await prepare(ofItsLength(order), crew, new Stages(watch))
  const ceilingLossDb = forecast.correction.ceilingLossDb ?? null
  return { ...forecast.decision, ceilingLossDb, whole: analysis.whole }
}

/** The order under the spec as it holds for a programme of this length. */
function ofItsLength(order: DeliveryOrder): DeliveryOrder {
  return {
    ...order,
    spec: specForLength(order.spec, programmeSeconds({ ...order.source, programme: order.programme })),
  }
}

/** All that comes before the first render. */
async function prepare(order: DeliveryOrder, crew: Crew, stages: Stages) {
  const tell = order.upmix === null ? stages.tell('analyse') : stages.tellUpmix(Boolean(order.heard))
  const analysis = await analyse(order, crew, tell)
  const tellForecast = stages.tell('forecast')
  const treated = await treatBandsFirst(order, analysis, crew, (share) => tellForecast(share / 2))
  const forecast = await decide(order, treated, crew, (share) => tellForecast((1 + share) / 2))
  const met = await meetBandLines(order, analysis, { treated, forecast }, crew, tellForecast)
  return { analysis, ...met }
}

async function verify(
  order: DeliveryOrder,
  decision: Decision,
  rendered: readonly RenderedFigures[],
  speech: SpeechLane | null,
  crew: Crew,
  tell: Tell,
): Promise<Verified> {
  const { stereoGainDb, plan } = decision
  const overs = rendered.reduce((sum, segment) => sum + segment.overs, 0)
  const isUnderCeiling = plan.ceilingDbtp !== null && plan.programme === undefined
  assert(overs === 0 || !isUnderCeiling, `${overs} samples passed full scale under a ceiling`)
  const origin = {
    rendered,
    openedBy: openedBy(order, decision),
    stereoGainDb,
    anchor: order.fit.stages === 'trims' ? null : stereoGainDb === 0 && order.stereo ? order.fit.anchor : '5.1',
    programme: order.programme,
    startOfDaySeconds: order.source.startOfDaySeconds,
    clock: order.source.clock,
    speech,
  } as const
  return verifyFiles(crew, order.source, writtenFiles(order), order.spec, origin, tell)
}

/** Shares of its stage at which verifying ends, and other fold-downs are measured; then the words are compared with the source. Only the progress line depends on them. */
const VERIFYING = 0.65
const FOLDING = 0.8

/** Findings that another render, with other gains, may mend. */
const MENDABLE: readonly string[] = [
  'beside-target',
  'programme-loudness',
  'dialogue-loudness',
  'true-peak',
  'short-term',
  'momentary',
  'loudness-range',
  'lfe-short-term',
  'lfe-over-fronts',
  'band-level',
]

/** True when another render would not come closer. */
function isSettled(order: DeliveryOrder, judgement: Judgement): boolean {
  return mendable(order, judgement).length === 0
}

/** Bands are turned down only where the fit may solve their lines. */
function mendable({ spec, fit }: DeliveryOrder, { findings }: Judgement): readonly string[] {
  const solved = bandLinesToMeet(spec, fit).map(bandField)
  return findings.flatMap(({ id, severity, line }) => {
    if (severity === 'note' || !MENDABLE.includes(id)) return []
    return id !== 'band-level' || (line !== null && solved.includes(line)) ? [id] : []
  })
}

function sealable({
  role,
  bitsPerSample,
  measurements,
}: VerifiedFile): Omit<DeliveredFile, 'path' | 'sha256' | 'bytes'> {
  return { role, bitsPerSample, measurements }
}

/** Measures what is to be fitted: the 5.1 that the upmix makes, kept in the scratch planes, or the source as it is. */
async function analyse(order: DeliveryOrder, crew: Crew, tell: Tell): Promise<Analysed> {
  const { source, upmix, programme } = order
  const { heard = null } = order
  const listens = order.listens && heard === null
  const listening = listens ? LISTENING_BESIDE_ANALYSIS : 0
  const speech = listens ? await listenBySegment(crew, source, 'source', (share) => tell(share * listening)) : heard
  const told = (share: number) => tell(listening + share * (1 - listening))
  const segments =
    upmix === null
      ? await measureSegments(crew, source, 'source', told)
      : await upmixedSegments(crew, source, upmix, told)
  const parts = programme === undefined ? null : await measureParts(crew, source, 'source', programme, () => {})
  const sourceParts = parts === null ? null : await withLevels(crew, source, 'source', parts, order.spec)
  const findings = await inBreaks(crew, source, order.breaks)
  const joined = joinAnalysed(segments, sourceParts)
  const whole = upmix === null && parts === null ? await withLevelsOfWhole(order, crew, joined.whole) : joined.whole
  return { ...joined, whole, speech, findings }
}

async function withLevelsOfWhole({ source, spec }: DeliveryOrder, crew: Crew, measured: Measured): Promise<Measured> {
  const [part] = await withLevels(crew, source, 'source', [{ startFrame: 0, measured }], spec)
  return part?.measured ?? measured
}

/** Share of the time that listening takes before what is to be fitted is measured; only the progress line depends on it. */
const LISTENING_BESIDE_ANALYSIS = 0.2

/** What is to be said of the stretches that ought to be silent. */
async function inBreaks(
  crew: Crew,
  programme: ProgrammeShape,
  breaks: DeliveryOrder['breaks'],
): Promise<readonly Finding[]> {
  return breaks === undefined ? [] : judgeBreaks(await measureParts(crew, programme, 'source', breaks, () => {}))
}

/** A programme, where its first frame stands in the day if its file tells, and which stretches of it count. */
export type ProgrammeOnDisk = ProgrammeShape &
  Pick<DeliveryOrder['source'], 'startOfDaySeconds' | 'clock'> &
  Pick<DeliveryOrder, 'programme' | 'breaks'> & {
    /** Where there is dialogue, if somebody listened before. */
    readonly heard?: SpeechLane | null
    /** Gains of the mixer's own that it is heard with, as a delivery renders them; absent: none. */
    readonly trims?: DeliveryOrder['trims'] | undefined
  }

/** How one file stands: its figures, its loudness over time, and the judgement where a spec was named. */
export type ProgrammeMeasurement = {
  readonly measured: Measured
  /** What is programme of it, each stretch by itself. */
  readonly parts: readonly MeasuredPart[]
  readonly measurements: Measurements
  readonly curves: LoudnessCurves
  readonly judgement: Judgement
  /** Where there is dialogue; null where nobody listened. */
  readonly speech: SpeechLane | null
  /** The figures of the file as it is; null where nothing is trimmed. */
  readonly withoutTrims: LoudnessFigures | null
}

/**
 * Measures a file as it is, or as its trims make it. Dialogue is looked for in the file as it is. Without a spec only the signal itself is judged.
 * @param listens whether dialogue is looked for; the crew must have been hired for it
 * @param peakHistory whether `measured` and `parts` keep the true peak of every 100 ms
 */
export async function measureProgramme(
  crew: Crew,
  programme: ProgrammeOnDisk,
  asked: DeliverySpec | null,
  watch: Watch,
  listens: boolean,
  peakHistory = false,
): Promise<ProgrammeMeasurement> {
  const spec = asked === null ? null : specForLength(asked, programmeSeconds(programme))
  const tell = new Stages(watch).tell('measure')
  const measuring = listens ? MEASURING_BESIDE_LISTENING : 1
  const trimmed = trimmedOf(programme)
  const way = { peakHistory, trimmed }
  const measured = await measureBySegment(crew, programme, 'source', (share) => tell(share * measuring), way)
  const listening = (share: number) => tell(measuring + share * (1 - measuring))
  const heard = programme.heard ?? null
  const speech = listens && heard === null ? await listenBySegment(crew, programme, 'source', listening) : heard
  const asMeasured = await partsOf(crew, programme, 'source', measured, programme.programme, way)
  const parts = await withLevels(crew, programme, 'source', asMeasured, spec, trimmed)
  const measurements = describeProgramme(parts, programme.frameCount, speech)
  const asItIs = trimmed === undefined ? null : await measureAsItIs(crew, programme)
  const role = roleOf(programme.layout)
  const context = {
    ...judgeContext(role, { measured, parts }, { ...programme, stereoGainDb: 0 }),
    // Under a gain samples that are no numbers are silence: they are counted in the file as it is.
    ...(asItIs !== null && { nonFiniteSampleCount: asItIs.nonFiniteSampleCount }),
  }
  const findings = [
    ...(spec === null ? judgeSignal(measurements, context) : judge(measurements, spec, context)),
    ...(await inBreaks(crew, programme, programme.breaks)),
  ]
  const judgement = {
    conforms: findings.every((finding) => finding.severity !== 'fail'),
    findings,
    margins: spec === null ? [] : margins(measurements, spec, role),
  }
  return {
    measured,
    parts,
    measurements,
    curves: context.curves,
    judgement,
    speech,
    withoutTrims: asItIs?.figures ?? null,
  }
}

async function measureAsItIs(
  crew: Crew,
  programme: ProgrammeOnDisk,
): Promise<{ readonly figures: LoudnessFigures; readonly nonFiniteSampleCount: number }> {
  const stretches = programme.programme ?? [{ startFrame: 0, endFrame: programme.frameCount }]
  const parts = await measureParts(crew, programme, 'source', stretches, () => {})
  return {
    figures: loudnessOfParts(parts.map(({ measured }) => measured)),
    nonFiniteSampleCount: parts.reduce((sum, { measured }) => sum + measured.nonFiniteSampleCount, 0),
  }
}

/** Share of the time that measuring takes of a programme that is also listened to; only the progress line depends on it. */
const MEASURING_BESIDE_LISTENING = 0.5

/**
 * Checks a delivery that somebody made, from its bytes.
 * @param told what its plan says of the stereo: a constant of its own, and settings that open the lock
 * @param listens whether dialogue is listened for: in the mix, or in the stereo where there is no mix
 */
export async function verifyDelivery(
  crew: Crew,
  programme: ProgrammeOnDisk,
  files: readonly WrittenFile[],
  asked: DeliverySpec,
  told: Pick<Origin, 'openedBy' | 'stereoGainDb' | 'anchor'>,
  watch: Watch,
  listens: boolean,
): Promise<Verified> {
  const { startOfDaySeconds, clock, programme: stretches } = programme
  const spec = specForLength(asked, programmeSeconds(programme))
  const tell = new Stages(watch).tell('measure')
  const listening = listens ? LISTENING_BESIDE_VERIFYING : 0
  const main = files.find(({ audio }) => audio === 'multichannel') ?? (files[0] as WrittenFile)
  const speech = listens
    ? await listenBySegment(crew, { ...programme, layout: main.layout }, main.audio, (share) => tell(share * listening))
    : null
  const origin = { ...told, rendered: [], startOfDaySeconds, clock, programme: stretches, speech }
  const verifying = (from: number, to: number) => (share: number) =>
    tell(listening + (from + share * (to - from)) * (1 - listening))
  const verified = await verifyFiles(crew, programme, files, spec, origin, verifying(0, FOLDING))
  return { ...verified, files: await withFoldDowns(crew, programme, verified.files, stretches, verifying(FOLDING, 1)) }
}

/** The same beside verifying. */
const LISTENING_BESIDE_VERIFYING = 0.3
