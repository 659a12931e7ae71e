import {
  assert,
  besideMaster,
  type DeliveredFile,
  type DeliverySpec,
  decodesMatrix,
  describeMeasured,
  type Finding,
  frontSpreadOf,
  gainToDb,
  joinMeasured,
  type LoudnessCurves,
  type LoudnessFigures,
  type Measured,
  type MeasuredPart,
  type Measurements,
  margins,
  type ProgrammeLanes,
  type SpeechLane,
  stereoRoleOf,
  type UpmixPlan,
} from '../domain/index.ts'
import { compareWithSource } from './alteration-pass.ts'
import { treatBandsFirst } from './bands-pass.ts'
import {
  bySegment,
  listenBySegment,
  measureBySegment,
  measureParts,
  measureSegments,
  type ProgrammeShape,
  type Tell,
  trimmedOf,
  withSubLevels,
} from './by-segment.ts'
import type { Crew, Watch } from './crew.ts'
import { type Decision, type FitCorrection, type Render, refineGains, refineLfe } from './decide/index.ts'
import { thinLanes } from './deliver/index.ts'
import type { DeliveryOrder, DeliveryOutcome, DeliveryStore } from './delivery-order.ts'
import { type Analysed, decide, joinAnalysed } from './forecast-pass.ts'
import { gatherReport } from './gather-report.ts'
import { Stages, UPMIX_SPANS } from './progress-shares.ts'
import { hasLfeAnywhere, render, seedOf } from './render-pass.ts'
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
  writtenFiles,
} from './verify-pass.ts'
import type { FoldOrder, RenderedFigures, RenderOrder } from './work.ts'

/** Renders that a delivery may take before it is given up. */
const MOST_PASSES = 3

/**
 * Makes a delivery: analyse, decide, render, verify on the bytes written, and back to decide at most twice.
 * What does not conform is an outcome, not an error. Throws `Refusal` and `Cancelled` of the crew and the store.
 */
export async function deliverProgramme(
  order: DeliveryOrder,
  crew: Crew,
  store: DeliveryStore,
  watch: Watch,
): Promise<DeliveryOutcome> {
  const stages = new Stages(watch)
  const { analysis, treated, forecast } = await prepare(order, crew, stages)
  let { decision } = forecast
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
    renders.push({ decision, measurements, ...(ltRt !== undefined && { ltRt }) })
    // Trims alone are what they are: nothing is solved that another render could mend.
    const isLast = isSettled(verified.judgement) || pass === MOST_PASSES || order.fit.stages === 'trims'
    const next = isLast ? decision : refined(order, verified.judgement, treated.whole, renders, forecast.correction)
    if (isLast || !next.feasible) {
      const altered = await compareWithSource(order, decision, rendered, crew, (share) =>
        tell(VERIFYING + (1 - VERIFYING) * share),
      )
      const delivered = await store.seal(verified.files.map(sealable), verified.judgement.conforms)
      const told = { ...decision, findings: standing(next.findings, verified.judgement.conforms) }
      const report = await gatherReport(order, analysis, told, { ...verified, rendered, altered, delivered }, pass)
      return { report, decision, isDelivered: report.conforms || order.keepsNonconforming }
    }
    decision = next
  }
}

/** The next decision; where nothing but the LFE missed its lines, the gains of all other channels stay as they are. */
function refined(
  { spec, fit }: DeliveryOrder,
  judgement: Judgement,
  whole: Measured,
  renders: readonly Render[],
  correction: FitCorrection,
): Decision {
  const refine = mendable(judgement).every((id) => id.startsWith('lfe-')) ? refineLfe : refineGains
  return refine(whole, spec, fit, renders, correction)
}

/** What the bytes have refuted is not told: a file that conforms has no line out of reach. */
function standing(findings: readonly Finding[], conforms: boolean): readonly Finding[] {
  return conforms ? findings.filter(({ severity }) => severity !== 'fail') : findings
}

/**
 * The decision that a delivery would begin with: all that has to be known to hear it without a render. With the loudness
 * that the ceiling took on trial, in dB, 0 or less, one value each 100 ms; null: it has nothing to do.
 */
export async function planProgramme(
  order: DeliveryOrder,
  crew: Crew,
  watch: Watch,
): Promise<Decision & { readonly ceilingLossDb: Float64Array | null }> {
  const { forecast } = await prepare(order, crew, new Stages(watch))
  return { ...forecast.decision, ceilingLossDb: forecast.correction.ceilingLossDb ?? null }
}

/** All that comes before the first render. */
async function prepare(order: DeliveryOrder, crew: Crew, stages: Stages) {
  const tell = order.upmix === null ? stages.tell('analyse') : stages.tellUpmix(Boolean(order.heard))
  const analysis = await analyse(order, crew, tell)
  const tellForecast = stages.tell('forecast')
  const treated = await treatBandsFirst(order, analysis, crew, (share) => tellForecast(share / 2))
  const forecast = await decide(order, treated, crew, (share) => tellForecast((1 + share) / 2))
  return { analysis, treated, forecast }
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

/** Share of its stage that verifying takes before the words are compared with the source; only the progress line depends on it. */
const VERIFYING = 0.8

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
]

/** True when another render would not come closer. */
function isSettled(judgement: Judgement): boolean {
  return mendable(judgement).length === 0
}

function mendable({ findings }: Judgement): readonly string[] {
  return findings.flatMap(({ id, severity }) => (severity !== 'note' && MENDABLE.includes(id) ? [id] : []))
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
  const sourceParts = parts === null ? null : await withSubLevels(crew, source, 'source', parts, order.spec)
  const findings = await inBreaks(crew, source, order.breaks)
  const joined = joinAnalysed(segments, sourceParts)
  const whole = upmix === null && parts === null ? await withSub(order, crew, joined.whole) : joined.whole
  return { ...joined, whole, speech, findings }
}

async function withSub({ source, spec }: DeliveryOrder, crew: Crew, measured: Measured): Promise<Measured> {
  const [part] = await withSubLevels(crew, source, 'source', [{ startFrame: 0, measured }], spec)
  return part?.measured ?? measured
}

/** The 5.1 that an upmix makes, beside the stereo that is fitted with it: its fold-down, or the Lt/Rt it was decoded from. */
async function upmixedSegments(
  crew: Crew,
  source: ProgrammeShape,
  upmix: UpmixPlan,
  tell: Tell,
): Promise<readonly Measured[]> {
  if (stereoRoleOf(upmix) === 'lo-ro') return upmixSegments(crew, source, upmix, false, tell)
  const decoding = 1 - MEASURING_BESIDE_DECODING
  const decoded = await upmixSegments(crew, source, upmix, false, (share) => tell(share * decoding))
  const measuring = (share: number) => tell(decoding + share * MEASURING_BESIDE_DECODING)
  const master = await measureSegments(crew, source, 'source', measuring)
  return decoded.map((segment, index) => besideMaster(segment, master[index] as Measured))
}

/** Share of the time that measuring an Lt/Rt takes beside decoding it; only the progress line depends on it. */
const MEASURING_BESIDE_DECODING = 0.1

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

function upmixSegments(
  crew: Crew,
  programme: ProgrammeShape,
  plan: UpmixPlan,
  through: boolean,
  tell: Tell,
): Promise<readonly Measured[]> {
  return bySegment(crew, programme, (segment) => ({ kind: 'upmix', segment, plan, through }), tell)
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
  spec: DeliverySpec | null,
  watch: Watch,
  listens: boolean,
  peakHistory = false,
): Promise<ProgrammeMeasurement> {
  const tell = new Stages(watch).tell('measure')
  const measuring = listens ? MEASURING_BESIDE_LISTENING : 1
  const trimmed = trimmedOf(programme)
  const way = { peakHistory, trimmed }
  const measured = await measureBySegment(crew, programme, 'source', (share) => tell(share * measuring), way)
  const listening = (share: number) => tell(measuring + share * (1 - measuring))
  const heard = programme.heard ?? null
  const speech = listens && heard === null ? await listenBySegment(crew, programme, 'source', listening) : heard
  const asMeasured = await partsOf(crew, programme, 'source', measured, programme.programme, way)
  const parts = await withSubLevels(crew, programme, 'source', asMeasured, spec, trimmed)
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
  const {
    programmeLoudnessLkfs,
    loudnessRangeLu,
    maxMomentaryLkfs,
    maxShortTermLkfs,
    maxTruePeakDbtp,
    samplePeakDbfs,
  } = describeProgramme(parts, programme.frameCount, null)
  return {
    figures: {
      programmeLoudnessLkfs,
      loudnessRangeLu,
      maxMomentaryLkfs,
      maxShortTermLkfs,
      maxTruePeakDbtp,
      samplePeakDbfs,
    },
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
  spec: DeliverySpec,
  told: Pick<Origin, 'openedBy' | 'stereoGainDb' | 'anchor'>,
  watch: Watch,
  listens: boolean,
): Promise<Verified> {
  const { startOfDaySeconds, clock, programme: stretches } = programme
  const tell = new Stages(watch).tell('measure')
  const listening = listens ? LISTENING_BESIDE_VERIFYING : 0
  const main = files.find(({ audio }) => audio === 'multichannel') ?? (files[0] as WrittenFile)
  const speech = listens
    ? await listenBySegment(crew, { ...programme, layout: main.layout }, main.audio, (share) => tell(share * listening))
    : null
  const origin = { ...told, rendered: [], startOfDaySeconds, clock, programme: stretches, speech }
  return verifyFiles(crew, programme, files, spec, origin, (share) => tell(listening + share * (1 - listening)))
}

/** The same beside verifying. */
const LISTENING_BESIDE_VERIFYING = 0.3

/** What an upmix without a fit needs to be told. */
export type UpmixOrder = {
  readonly programme: ProgrammeShape
  readonly plan: UpmixPlan
  readonly gainDb: number
  readonly bitsPerSample: 16 | 24
  readonly sourceSha256: Promise<string>
  /** Write the stem as it comes through the weights of the source, instead of the source itself. */
  readonly through: boolean
}

/**
 * Upmixes without a fit: one static gain at most, and no ceiling. Gives the figures and levels of the bytes written; null where
 * samples do not fit the word, which is known before they are rendered: nothing may clip, so the caller refuses.
 */
export async function upmixProgramme(
  order: UpmixOrder,
  crew: Crew,
  store: Pick<DeliveryStore, 'beginPass'>,
  watch: Watch,
): Promise<
  | { readonly measurements: Measurements; readonly lanes: ProgrammeLanes; readonly peakDbfs: number }
  | { readonly measurements: null; readonly peakDbfs: number }
> {
  const { programme, plan, gainDb, bitsPerSample, through } = order
  const stages = new Stages(watch, UPMIX_SPANS)
  const told = stages.tellUpmix(Boolean(plan.reading?.voice100ms))
  const analysed = joinMeasured(await upmixSegments(crew, programme, plan, through, told))
  const peakDbfs = Math.max(...describeMeasured(analysed).channels.map(({ samplePeakDbfs }) => samplePeakDbfs ?? 0))
  if (peakDbfs + gainDb > 0) return { measurements: null, peakDbfs }
  store.beginPass()
  const render: RenderOrder = {
    audio: through ? 'stem' : 'source',
    isUpmixed: true,
    writes: ['multichannel'],
    hasLfe: hasLfeAnywhere(plan),
    frontSpread: frontSpreadOf(plan),
    isLtRt: decodesMatrix(plan.settings, plan.reading),
    gain: { staticGainDb: gainDb, rideDb: null, ceilingDbtp: null },
    encoding: bitsPerSample === 16 ? 'int16' : 'int24',
    ditherSeed: seedOf(await order.sourceSha256),
    stereo: false,
    writesGain: false,
  }
  const task = (segment: number) => ({ kind: 'render', segment, order: render }) as const
  const rendered = await bySegment(crew, programme, task, stages.tell('render'))
  // The highest positive word lies one step below full scale: a sample between the two is known only now.
  if (rendered.some(({ overs }) => overs > 0)) return { measurements: null, peakDbfs }
  const measured = await measureBySegment(crew, { ...programme, layout: '5.1' }, 'multichannel', stages.tell('verify'))
  return { measurements: describeMeasured(measured), lanes: thinLanes(measured, null), peakDbfs }
}

/** Folds a programme down, without any fit. Gives the figures of the bytes written, and what would not have fitted the word. */
export async function foldProgramme(
  programme: ProgrammeShape,
  order: FoldOrder,
  crew: Crew,
  store: Pick<DeliveryStore, 'beginPass'>,
  watch: Watch,
): Promise<{ readonly measurements: Measurements; readonly overs: number; readonly peakDbfs: number }> {
  const stages = new Stages(watch)
  store.beginPass()
  const folded = await bySegment(
    crew,
    programme,
    (segment) => ({ kind: 'fold', segment, order }),
    stages.tell('render'),
  )
  const layout = order.to === 'mono' ? 'mono' : '2.0'
  const measured = await measureBySegment(crew, { ...programme, layout }, 'multichannel', stages.tell('verify'))
  return {
    measurements: describeMeasured(measured),
    overs: folded.reduce((sum, { overs }) => sum + overs, 0),
    peakDbfs: gainToDb(folded.reduce((highest, { peak }) => Math.max(highest, peak), 0)),
  }
}
