import { type GainPlan, HOPS_PER_SECOND, type UpmixScene } from '../../domain/index.ts'
import { DOCUMENT_VERSION } from './documents.ts'

/**
 * The document `plan.json`: with the source, all that decides the bytes. Ride points are relative to the static gain,
 * linear in dB between the centres of 100 ms hops, held before the first and after the last. Outside `programme` (frames,
 * [startFrame, endFrame); null: everywhere) nothing acts.
 * `scenes` have upmix settings of their own, in frames like their glides, each half of which lies outside.
 */
export function planJson(
  plan: GainPlan,
  stereoGainDb: number,
  settings: Readonly<Record<string, number | string>>,
  scenes: readonly UpmixScene[],
): object {
  const { staticGainDb, ceilingDbtp, rideDb, programme = null } = plan
  const hopSeconds = 1 / HOPS_PER_SECOND
  const ride = rideDb === null ? null : { hopSeconds, firstPointSeconds: hopSeconds / 2, gainDb: Array.from(rideDb) }
  return { version: DOCUMENT_VERSION, staticGainDb, stereoGainDb, ceilingDbtp, ride, programme, settings, scenes }
}
