import {
  bandLineCurves,
  type CeilingEvent,
  curvesWithin,
  type DeliveredFile,
  type DeliveryReport,
  dialogueLines,
  type Finding,
  type FrameRange,
  gainSpan,
  gainToDb,
  type HandRide,
  loudnessCurves,
  type Measured,
  powerToDb,
  printFigure,
  spokenHops,
} from '../domain/index.ts'
import type { Altered } from './alteration-pass.ts'
import type { Certificate, Decision } from './decide/index.ts'
import { alteredDialogue, type DialogueAltered, deliveryReport, thinLanes } from './deliver/index.ts'
import type { DeliveryOrder } from './delivery-order.ts'
import type { Analysed } from './forecast-pass.ts'
import type { RenderedFigures } from './tasks.ts'
import { describeProgramme, type Verified, type VerifiedFile } from './verify-pass.ts'

/** Gathers the report; without `verified` it says why nothing was rendered. */
export async function gatherReport(
  order: DeliveryOrder,
  analysis: Analysed,
  decision: Decision,
  verified:
    | (Verified & {
        readonly rendered: readonly RenderedFigures[]
        readonly altered: Altered
        readonly delivered: readonly DeliveredFile[]
      })
    | null,
  passes: number,
): Promise<DeliveryReport> {
  const { tool, title, spec, source, upmix, fit } = order
  const { whole: analysed, speech, findings } = analysis
  const drawnCurves = (of: Measured) => curvesWithin(loudnessCurves(of), order.programme, of.sampleRateHz)
  const curves = drawnCurves(analysed)
  const judged = verified?.judgement ?? { conforms: false, findings: [], margins: [] }
  const { certificate, plan } = decision
  const drawn = verified === null ? analysed : (verified.files[0] as VerifiedFile).measured
  const ceiling = plan.ceilingDbtp === null ? null : ceilingWork(verified?.rendered ?? [], source.sampleRateHz)
  const found = [...source.findings, ...findings, ...decision.findings, ...residueFindings(ceiling)]
  return deliveryReport({
    tool,
    title,
    passes,
    spec,
    source: {
      path: source.path,
      sha256: await source.sha256,
      measurements: sourceMeasurements(order, analysis),
      curves,
      originatedOn: source.originatedOn,
      startOfDaySeconds: source.startOfDaySeconds,
    },
    deliverables: verified?.delivered ?? [],
    curves: verified === null ? curves : drawnCurves(drawn),
    lanes: thinLanes(drawn, speech),
    foldDownLock: verified?.lock ?? null,
    judgement: { ...judged, findings: [...found, ...judged.findings] },
    trims: order.trims.map((gain) => {
      const { lowestDb, highestDb } = gainSpan(gain)
      return {
        startSeconds: gain.startFrame / source.sampleRateHz,
        endSeconds: gain.endFrame / source.sampleRateHz,
        gainDb: -lowestDb > highestDb ? lowestDb : highestDb,
        reason: 'points' in gain ? handRideInWords(gain) : gain.reason,
      }
    }),
    staticGainDb: plan.staticGainDb,
    ride: curveOf(certificate),
    lowEnd: plan.lowEnd ?? null,
    bands: plan.bands ?? null,
    bandLines: bandLineCurves(plan.bandLines ?? []),
    lfe: curveOf(decision.lfe ?? null),
    ceiling,
    dialogue: verified === null ? null : dialogueAltered(order, analysis, decision, drawn, verified.altered),
    altered: verified?.altered ?? null,
    settings: { ...upmix?.settings, ...fit, bitsPerSample: order.bitsPerSample },
  })
}

/** A ride with its corridor, as it is drawn. */
function curveOf<T extends Pick<Certificate, 'corridor'>>(certificate: T | null) {
  if (certificate === null) return null
  const { lowerDb, upperDb } = certificate.corridor
  return { ...certificate, corridorDb: { lowest: lowerDb, highest: upperDb } }
}

/** A ride by hand, told among the trims with its greatest gain. */
function handRideInWords(ride: HandRide): string {
  const { lowestDb, highestDb } = gainSpan(ride)
  const words = `hand ride from ${printFigure(lowestDb)} to ${printFigure(highestDb)} dB`
  return ride.reason === null ? words : `${words}: ${ride.reason}`
}

/** The master's own figures: of an upmix they are those of the unfitted stereo, which is the master. */
function sourceMeasurements(
  order: DeliveryOrder,
  { whole, sourceParts, speech }: Analysed,
): DeliveryReport['source']['measurements'] {
  const parts = sourceParts ?? [{ startFrame: 0, measured: order.upmix === null ? whole : foldDownOf(whole) }]
  return describeProgramme(parts, order.source.frameCount, speech)
}

function foldDownOf(measured: Measured): Measured {
  const { foldDown10ms, foldDown } = measured
  if (foldDown10ms === null || foldDown === null) return measured
  return {
    ...measured,
    layout: '2.0',
    programme10ms: foldDown10ms,
    channels: foldDown,
    channels100ms: new Float64Array(0),
    foldDown10ms: null,
    foldDown: null,
    lfePeak100ms: null,
  }
}

/** What became of dialogue in the mix; its lines before the fit are those of the unfitted mix, of an upmix too. */
function dialogueAltered(
  { programme }: DeliveryOrder,
  { whole, speech }: Analysed,
  { certificate, plan }: Decision,
  delivered: Measured,
  { ceilingReductionDb, centrePeak }: Altered,
): DialogueAltered | null {
  if (speech === null) return null
  const isProgramme = ({ startFrame, endFrame }: FrameRange) =>
    programme === undefined || programme.some((part) => startFrame < part.endFrame && endFrame > part.startFrame)
  const linesOf = (measured: Measured) => dialogueLines([{ startFrame: 0, measured }], speech).filter(isProgramme)
  const before = linesOf(whole)
  if (before.length === 0) return null
  return alteredDialogue(before, linesOf(delivered), {
    sampleRateHz: whole.sampleRateHz,
    layout: whole.layout,
    channels100ms: whole.channels100ms,
    isSpoken: spokenHops(speech),
    rideDb: certificate?.rideDb ?? null,
    ceilingDbtp: plan.ceilingDbtp,
    ceilingReductionDb,
    centrePeak,
  })
}

type Ceiling = NonNullable<Parameters<typeof deliveryReport>[0]['ceiling']>

function ceilingWork(rendered: readonly RenderedFigures[], sampleRateHz: number): Ceiling {
  const lfes = rendered.flatMap(({ alteration }) => alteration.lfe ?? [])
  const lfeEvents = joinedEvents(lfes)
  return {
    ...timeBelow(
      rendered.map(({ alteration }) => alteration),
      sampleRateHz,
    ),
    events: joinedEvents(rendered.map(({ alteration }) => alteration)),
    lfe:
      lfes.length === 0
        ? null
        : {
            ...timeBelow(lfes, sampleRateHz),
            events: lfeEvents.length,
            deepestDb: lfeEvents.reduce((most, { deepestDb }) => Math.max(most, deepestDb), 0),
          },
    groups: groupsWork(rendered, sampleRateHz),
    frontResidue: frontResidue(rendered, sampleRateHz),
  }
}

/** What each group of channels gave by itself over all segments, those that gave something. */
function groupsWork(rendered: readonly RenderedFigures[], sampleRateHz: number): Ceiling['groups'] {
  const groups = rendered.flatMap(({ alteration }) => alteration.groups)
  return [...new Set(groups.map(({ name }) => name))].flatMap((name) => {
    const actions = groups.flatMap((group) => (group.name === name ? [group.action] : []))
    const events = joinedEvents(actions)
    const deepestDb = events.reduce((most, event) => Math.max(most, event.deepestDb), 0)
    return deepestDb === 0 ? [] : [{ name, ...timeBelow(actions, sampleRateHz), events: events.length, deepestDb }]
  })
}

function frontResidue(rendered: readonly RenderedFigures[], sampleRateHz: number): Ceiling['frontResidue'] {
  const residues = rendered.flatMap(({ alteration }) => alteration.frontResidue ?? [])
  const sum = (of: 'squares' | 'frontSquares' | 'frames') => residues.reduce((all, residue) => all + residue[of], 0)
  if (sum('squares') === 0 || sum('frontSquares') === 0) return null
  return {
    besideFrontsDb: powerToDb(sum('squares') / sum('frontSquares')),
    peakDbfs: gainToDb(residues.reduce((highest, { peak }) => Math.max(highest, peak), 0)),
    seconds: sum('frames') / sampleRateHz,
  }
}

/** The price of limiting channels by themselves under a closed lock. */
function residueFindings(ceiling: Ceiling | null): readonly Finding[] {
  const residue = ceiling?.frontResidue ?? null
  if (residue === null) return []
  const [level, peak] = [residue.besideFrontsDb, residue.peakDbfs].map((db) => printFigure(db))
  return [
    {
      id: 'front-residue',
      severity: 'note',
      line: null,
      measured: residue.besideFrontsDb,
      allowed: null,
      unit: 'dB',
      at: null,
      source: 'setting ceilingLink',
      message:
        `Channels were limited by themselves: what C and the surrounds lost is left in L and R, ${level} dB beside them in ` +
        `the ${printFigure(residue.seconds)} s in which any of it acted (peak ${peak} dBFS). The fold-down is the stereo all the ` +
        'same. ceilingLink=all leaves nothing.',
    },
  ]
}

type CeilingAction = RenderedFigures['alteration'] | NonNullable<RenderedFigures['alteration']['lfe']>

function timeBelow(actions: readonly CeilingAction[], sampleRateHz: number) {
  const seconds = (frames: (action: CeilingAction) => number) =>
    actions.reduce((sum, action) => sum + frames(action), 0) / sampleRateHz
  return {
    secondsBelow01Db: seconds(({ framesBelow01Db }) => framesBelow01Db),
    secondsBelow1Db: seconds(({ framesBelow1Db }) => framesBelow1Db),
    secondsBelow3Db: seconds(({ framesBelow3Db }) => framesBelow3Db),
  }
}

/** Stretches in which the ceiling acted; one that crosses the border of segments is one event. */
function joinedEvents(actions: readonly CeilingAction[]): CeilingEvent[] {
  const events: CeilingEvent[] = []
  for (const place of actions.flatMap(({ places }) => places)) {
    const last = events.at(-1)
    const depth = Math.abs(place.deepestDb)
    if (last !== undefined && last.endSeconds === place.startSeconds) {
      events[events.length - 1] = { ...last, endSeconds: place.endSeconds, deepestDb: Math.max(last.deepestDb, depth) }
    } else {
      events.push({ ...place, deepestDb: depth })
    }
  }
  return events
}
