import {
  assert,
  type DeliveredFile,
  type DeliverySpec,
  describeMeasured,
  gainToDb,
  joinMeasured,
  type LoudnessCurves,
  loudnessCurves,
  type Measured,
  type Measurements,
  type SpeechLane,
  type UpmixSettings,
} from '../domain/index.ts'
import { feedsLfe } from '../dsp/index.ts'
import {
  bySegment,
  listenBySegment,
  measureBySegment,
  measureSegments,
  type ProgrammeShape,
  type Tell,
} from './by-segment.ts'
import type { Crew, Watch } from './crew.ts'
import { type Decision, type Render, refineGains } from './decide/index.ts'
import type { DeliveryOrder, DeliveryOutcome, DeliveryStore } from './delivery-order.ts'
import { type Analysed, decide, joinAnalysed } from './forecast-pass.ts'
import { gatherReport } from './gather-report.ts'
import { Stages } from './progress-shares.ts'
import { render, seedOf } from './render-pass.ts'
import { type Judgement, judge, judgeSignal, margins } from './verify/index.ts'
import {
  judgeContext,
  type Origin,
  openedBy,
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
  const analysis = await analyse(order, crew, stages.tell('analyse'))
  const analysed = analysis.whole
  const forecast = await decide(order, analysis, crew, stages.tell('forecast'))
  let { decision } = forecast
  if (!decision.feasible && !order.keepsNonconforming) {
    return { report: await gatherReport(order, analysed, decision, null, 0), decision, isDelivered: false }
  }
  const renders: Render[] = []
  for (let pass = 1; ; pass++) {
    store.beginPass()
    const rendered = await render(order, decision, crew, stages.tell('render'))
    const verified = await verify(order, decision, rendered, crew, stages.tell('verify'))
    renders.push({ decision, measured: (verified.files[0] as VerifiedFile).measured })
    const isLast = isSettled(verified.judgement) || pass === MOST_PASSES
    const next = isLast ? decision : refineGains(analysed, order.spec, order.fit, renders, forecast.correction)
    if (isLast || !next.feasible) {
      const delivered = await store.seal(verified.files.map(sealable), verified.judgement.conforms)
      const told = { ...decision, findings: next.findings }
      const report = await gatherReport(order, analysed, told, { ...verified, rendered, delivered }, pass)
      return { report, decision, isDelivered: report.conforms || order.keepsNonconforming }
    }
    decision = next
  }
}

async function verify(
  order: DeliveryOrder,
  decision: Decision,
  rendered: readonly RenderedFigures[],
  crew: Crew,
  tell: Tell,
): Promise<Verified> {
  const overs = rendered.reduce((sum, segment) => sum + segment.overs, 0)
  assert(overs === 0, `${overs} samples passed full scale under a ceiling`)
  const { stereoGainDb } = decision
  const origin = {
    rendered,
    openedBy: openedBy(order, decision),
    stereoGainDb,
    anchor: stereoGainDb === 0 && order.stereo ? order.fit.anchor : '5.1',
    startOfDaySeconds: order.source.startOfDaySeconds,
  } as const
  return verifyFiles(crew, order.source, writtenFiles(order), order.spec, origin, tell)
}

/** Findings that another render, with other gains, may mend. */
const MENDABLE: readonly string[] = ['beside-target', 'programme-loudness', 'true-peak', 'short-term', 'momentary']

/** True when another render would not come closer. */
function isSettled(judgement: Judgement): boolean {
  return !judgement.findings.some(({ id, severity }) => severity !== 'note' && MENDABLE.includes(id))
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
  const { source, upmix } = order
  if (upmix === null) return joinAnalysed(await measureSegments(crew, source, 'source', tell))
  return joinAnalysed(await upmixSegments(crew, source, upmix, false, tell))
}

function upmixSegments(
  crew: Crew,
  programme: ProgrammeShape,
  settings: UpmixSettings,
  through: boolean,
  tell: Tell,
): Promise<readonly Measured[]> {
  return bySegment(crew, programme, (segment) => ({ kind: 'upmix', segment, settings, through }), tell)
}

/** A programme and where its first frame stands in the day, if its file tells. */
type ProgrammeOnDisk = ProgrammeShape & Pick<DeliveryOrder['source'], 'startOfDaySeconds'>

/** How one file stands: its figures, its loudness over time, and the judgement where a spec was named. */
export type ProgrammeMeasurement = {
  readonly measured: Measured
  readonly measurements: Measurements
  readonly curves: LoudnessCurves
  readonly judgement: Judgement
}

/**
 * Measures a file as it is. Without a spec only the signal itself is judged.
 * @param listens whether dialogue is looked for; the crew must have been hired for it
 * @param peakHistory whether `measured` and `parts` keep the true peak of every 100 ms
 */
export async function measureProgramme(
  /** Where there is dialogue; null where nobody listened. */
  readonly speech: SpeechLane | null
  crew: Crew,
  programme: ProgrammeOnDisk,
  spec: DeliverySpec | null,
  watch: Watch,
): Promise<ProgrammeMeasurement> {
  const tell = new Stages(watch).tell('measure')
  const measuring = listens ? MEASURING_BESIDE_LISTENING : 1
  const measured = await measureBySegment(crew, programme, 'source', (share) => tell(share * measuring), peakHistory)
  const speech = listens
    ? await listenBySegment(crew, programme, 'source', (share) => tell(measuring + share * (1 - measuring)))
    : null
  const measurements = describeMeasured(measured)
  const role = roleOf(programme.layout)
  listens: boolean,
  const context = judgeContext(role, measured, { ...programme, stereoGainDb: 0 })
  const findings = spec === null ? judgeSignal(measurements, context) : judge(measurements, spec, context)
  const judgement = {
    conforms: findings.every((finding) => finding.severity !== 'fail'),
    findings,
    margins: spec === null ? [] : margins(measurements, spec, role),
  }
  return { measured, measurements, curves: loudnessCurves(measured), judgement, speech }
}

/**
 * Checks a delivery that somebody made, from its bytes.
 * @param told what its plan says of the stereo: a constant of its own, and settings that open the lock
 */
/** Share of the time that measuring takes of a programme that is also listened to; only the progress line depends on it. */
const MEASURING_BESIDE_LISTENING = 0.5

export function verifyDelivery(
  crew: Crew,
  programme: ProgrammeOnDisk,
  files: readonly WrittenFile[],
  spec: DeliverySpec,
  told: Pick<Origin, 'openedBy' | 'stereoGainDb' | 'anchor'>,
  watch: Watch,
): Promise<Verified> {
  const origin = { ...told, rendered: [], startOfDaySeconds: programme.startOfDaySeconds }
  return verifyFiles(crew, programme, files, spec, origin, new Stages(watch).tell('measure'))
}

/** What an upmix without a fit needs to be told. */
export type UpmixOrder = {
  readonly programme: ProgrammeShape
  readonly settings: UpmixSettings
  readonly gainDb: number
  readonly bitsPerSample: 16 | 24
  readonly sourceSha256: Promise<string>
  /** Write the stem as it comes through the weights of the source, instead of the source itself. */
  readonly through: boolean
}

/**
 * Upmixes without a fit: one static gain at most, and no ceiling. Gives the figures of the bytes written; null where
 * samples do not fit the word, which is known before they are rendered: nothing may clip, so the caller refuses.
 */
export async function upmixProgramme(
  order: UpmixOrder,
  crew: Crew,
  store: Pick<DeliveryStore, 'beginPass'>,
  watch: Watch,
): Promise<{ readonly measurements: Measurements | null; readonly peakDbfs: number }> {
  const { programme, settings, gainDb, bitsPerSample, through } = order
  const stages = new Stages(watch)
  const analysed = joinMeasured(await upmixSegments(crew, programme, settings, through, stages.tell('analyse')))
  const peakDbfs = Math.max(...describeMeasured(analysed).channels.map(({ samplePeakDbfs }) => samplePeakDbfs ?? 0))
  if (peakDbfs + gainDb > 0) return { measurements: null, peakDbfs }
  store.beginPass()
  const render: RenderOrder = {
    audio: through ? 'stem' : 'source',
    isUpmixed: true,
    writes: ['multichannel'],
    hasLfe: feedsLfe(settings),
    frontSpread: settings.frontSpread,
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
  return { measurements: describeMeasured(measured), peakDbfs }
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
