import { decodesMatrix, frontSpreadOf, type GainPlan, type UpmixPlan } from '../domain/index.ts'
import { feedsLfe } from '../dsp/index.ts'
import { bySegment, type Tell } from './by-segment.ts'
import type { Crew } from './crew.ts'
import type { Decision } from './decide/index.ts'
import type { DeliveryOrder } from './delivery-order.ts'
import type { RenderedFigures, RenderOrder } from './tasks.ts'

/** Renders every segment into the files of the pass. */
export async function render(
  order: DeliveryOrder,
  decision: Decision,
  crew: Crew,
  tell: Tell,
): Promise<readonly RenderedFigures[]> {
  const common = await renderOrder(order, decision)
  if (decision.stereoGainDb === 0) {
    return bySegment(crew, order.source, (segment) => ({ kind: 'render', segment, order: common }), tell)
  }
  // The stereo has a constant of its own and no longer travels with the 5.1: each is rendered for itself.
  const { source } = order
  const gain = { ...common.gain, staticGainDb: common.gain.staticGainDb + decision.stereoGainDb }
  const alone = { ...common, stereo: false, writes: ['multichannel'] } as const
  const folded = { ...common, gain, writes: ['stereo'], writesGain: false } as const
  const half = (from: number) => (share: number) => tell(from + share / 2)
  const ofMix = await bySegment(crew, source, (segment) => ({ kind: 'render', segment, order: alone }), half(0))
  const ofStereo = await bySegment(crew, source, (segment) => ({ kind: 'render', segment, order: folded }), half(0.5))
  return ofMix.map((figures, segment) => ({ ...figures, againstMaster: ofStereo[segment]?.againstMaster ?? null }))
}

/** The render of a decision, the same for every segment. */
export function renderOrder(order: DeliveryOrder, { plan }: Decision): Promise<RenderOrder> {
  return orderUnder(order, plan)
}

/** The render under any plan. */
export async function orderUnder(order: DeliveryOrder, gain: GainPlan): Promise<RenderOrder> {
  const { upmix, bitsPerSample, stereo, writesGain } = order
  return {
    audio: 'source',
    isUpmixed: upmix !== null,
    writes: ['multichannel', 'stereo'],
    hasLfe: upmix !== null && hasLfeAnywhere(upmix),
    frontSpread: upmix === null ? 1 : frontSpreadOf(upmix),
    isLtRt: upmix !== null && decodesMatrix(upmix.settings, upmix.reading),
    gain,
    encoding: bitsPerSample === 16 ? 'int16' : 'int24',
    ditherSeed: seedOf(await order.source.sha256),
    stereo,
    writesGain,
  }
}

/** Whether a plan feeds the LFE in any of its stretches. */
export function hasLfeAnywhere({ settings, scenes }: UpmixPlan): boolean {
  return feedsLfe(settings) || scenes.some((scene) => feedsLfe(scene.settings))
}

/** The first 64 bits of the hash: the same source gets the same dither, another source another. */
export function seedOf(sha256: string): readonly [number, number] {
  return [Number.parseInt(sha256.slice(0, 8), 16), Number.parseInt(sha256.slice(8, 16), 16)]
}
