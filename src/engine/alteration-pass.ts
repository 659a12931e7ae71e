import {
  bandTreatments,
  type FrameRange,
  framesPerHop,
  type GainPlan,
  HOPS_PER_SEGMENT,
  OCTAVE_COUNT,
  segmentCount,
} from '../domain/index.ts'
import { bySegments, type Tell } from './by-segment.ts'
import type { Crew } from './crew.ts'
import type { Decision } from './decide/index.ts'
import type { DeliveryOrder } from './delivery-order.ts'
import { renderOrder } from './render-pass.ts'
import type { RenderedFigures } from './tasks.ts'

/** What became of the mix beside its source under the static gain; one row a 100 ms hop of the programme. */
export type Altered = {
  /** 1 where more than the static gain acted. */
  readonly isActing: Uint8Array
  /** Power of all channels but the LFE in each octave, hop by hop; 0 in hops where nothing more acted. */
  readonly octavesBefore: Float64Array
  readonly octavesAfter: Float64Array
  /** Highest sample of the centre under the static gain in those hops; empty where there is no centre. */
  readonly centrePeak: Float64Array
  /** What the ceiling took of the linked channels, in dB, 0 or more. */
  readonly ceilingReductionDb: Float64Array
}

/**
 * Compares the words of the last render with the source, and writes the difference where that was asked for. Only
 * segments in which something acted are looked at, or all of them for the difference.
 */
export async function compareWithSource(
  order: DeliveryOrder,
  decision: Decision,
  rendered: readonly RenderedFigures[],
  crew: Crew,
  tell: Tell,
): Promise<Altered> {
  const { frameCount, sampleRateHz } = order.source
  const hopCount = Math.ceil(frameCount / framesPerHop(sampleRateHz))
  const ceilingReductionDb = reductionOf(rendered, hopCount)
  const isActing = actingHops(decision.plan, ceilingReductionDb, framesPerHop(sampleRateHz))
  const { writesDifference } = order
  const ofSegment = (segment: number) => isActing.slice(segment * HOPS_PER_SEGMENT, (segment + 1) * HOPS_PER_SEGMENT)
  const all = Array.from({ length: segmentCount(frameCount, sampleRateHz) }, (_, segment) => segment)
  const looked = all.filter((segment) => writesDifference || ofSegment(segment).includes(1))
  const common = await renderOrder(order, decision)
  const compared = await bySegments(
    crew,
    looked,
    (segment) => ({
      kind: 'compare-with-source',
      segment,
      order: common,
      isActing: ofSegment(segment),
      writesDifference,
    }),
    tell,
  )
  const octavesBefore = new Float64Array(hopCount * OCTAVE_COUNT)
  const octavesAfter = new Float64Array(hopCount * OCTAVE_COUNT)
  const hasCentre = compared.some(({ centrePeak }) => centrePeak.length > 0)
  const centrePeak = new Float64Array(hasCentre ? hopCount : 0)
  for (const [index, segment] of looked.entries()) {
    const altered = compared[index] as (typeof compared)[number]
    const first = segment * HOPS_PER_SEGMENT
    octavesBefore.set(altered.octavesBefore, first * OCTAVE_COUNT)
    octavesAfter.set(altered.octavesAfter, first * OCTAVE_COUNT)
    if (hasCentre) centrePeak.set(altered.centrePeak, first)
  }
  return { isActing, octavesBefore, octavesAfter, centrePeak, ceilingReductionDb }
}

function reductionOf(rendered: readonly RenderedFigures[], hopCount: number): Float64Array {
  const reductionDb = new Float64Array(hopCount)
  for (const [segment, { alteration }] of rendered.entries()) {
    const { reduction100ms, groups } = alteration
    const first = segment * HOPS_PER_SEGMENT
    reductionDb.set(reduction100ms, first)
    // What a group gave by itself is told where it gave most.
    const ofGroups = groups.map(({ action }) => action.reduction100ms)
    for (let hop = first; hop < Math.min(first + HOPS_PER_SEGMENT, hopCount); hop++) {
      const most = ofGroups.reduce((deepest, of) => Math.max(deepest, of[hop - first] ?? 0), 0)
      reductionDb[hop] = (reductionDb[hop] as number) + most
    }
  }
  return reductionDb
}

/** 1 on the hops of the programme in which a gain other than the static one acts. */
function actingHops(plan: GainPlan, ceilingReductionDb: Float64Array, hopFrames: number): Uint8Array {
  const ofBands = bandTreatments(plan).flatMap(({ gainsDb }) => gainsDb)
  const curves = [plan.rideDb, ...ofBands].filter((curve) => curve !== null)
  const isAnyAt = (hop: number) => curves.some((gainDb) => (gainDb[hop] ?? 0) !== 0)
  return Uint8Array.from(ceilingReductionDb, (reductionDb, hop) => {
    if (!isProgramme(plan.programme, hop, hopFrames)) return 0
    return reductionDb > 0 || isAnyAt(hop - 1) || isAnyAt(hop) || isAnyAt(hop + 1) ? 1 : 0
  })
}

function isProgramme(programme: readonly FrameRange[] | undefined, hop: number, hopFrames: number): boolean {
  if (programme === undefined) return true
  return programme.some(
    ({ startFrame, endFrame }) => hop * hopFrames >= startFrame && (hop + 1) * hopFrames <= endFrame,
  )
}
