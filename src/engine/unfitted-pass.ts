import {
  besideMaster,
  decodesMatrix,
  describeMeasured,
  frontSpreadOf,
  gainToDb,
  joinMeasured,
  type Measured,
  type Measurements,
  type ProgrammeLanes,
  stereoRoleOf,
  type UpmixPlan,
} from '../domain/index.ts'
import { bySegment, measureBySegment, measureSegments, type ProgrammeShape, type Tell } from './by-segment.ts'
import type { Crew, Watch } from './crew.ts'
import { thinLanes } from './deliver/index.ts'
import type { DeliveryStore } from './delivery-order.ts'
import { Stages, UPMIX_SPANS } from './progress-shares.ts'
import { hasLfeAnywhere, seedOf } from './render-pass.ts'
import type { FoldOrder, RenderOrder } from './tasks.ts'

/** The 5.1 that an upmix makes, beside the stereo that is fitted with it: its fold-down, or the Lt/Rt it was decoded from. */
export async function upmixedSegments(
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

function upmixSegments(
  crew: Crew,
  programme: ProgrammeShape,
  plan: UpmixPlan,
  through: boolean,
  tell: Tell,
): Promise<readonly Measured[]> {
  return bySegment(crew, programme, (segment) => ({ kind: 'upmix', segment, plan, through }), tell)
}

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
