import { BANDS, type GainPlan, HOPS_PER_SECOND, type UpmixPlan } from '../../domain/index.ts'
import { DOCUMENT_VERSION } from './documents.ts'

/**
 * The document `plan.json`: with the source, all that decides the bytes. Ride points are relative to the static gain,
 * those of the LFE's own ride to both, those of the slow part of the ceiling to static gain and ride, all of them linear in dB between the centres of 100 ms hops, held before the first and after the last. Outside `programme` (frames,
 * [startFrame, endFrame); null: everywhere) nothing acts.
 * `scenes` have upmix settings of their own, in frames like their glides, each half of which lies outside. `voice` is how
 * surely a voice sounds, 0 to 255, to which the surrounds give way; null where nobody listened.
 */
export function planJson(
  plan: GainPlan,
  stereoGainDb: number,
  settings: Readonly<Record<string, number | string>>,
  upmix: UpmixPlan | null,
): object {
  const {
    staticGainDb,
    ceilingDbtp,
    lfeCeilingDbtp = null,
    lfeRideDb = null,
    ceilingLink = null,
    slowCeiling = null,
    lowEnd = null,
    bands = null,
    bandLines = [],
    programme = null,
  } = plan
  const ride = pointsOf(plan.rideDb)
  const slow =
    slowCeiling === null ? null : { linked: pointsOf(slowCeiling.linkedDb), lfe: pointsOf(slowCeiling.lfeDb) }
  const low = lowEnd === null ? null : { crossoverHz: lowEnd.crossoverHz, ...pointsOf(lowEnd.gainDb) }
  const multiband =
    bands === null
      ? null
      : {
          crossoversHz: bands.crossoversHz,
          bands: bands.gainsDb.map((gainDb, band) => ({ name: BANDS[band]?.name, points: pointsOf(gainDb) })),
        }
  const gains = {
    staticGainDb,
    stereoGainDb,
    ceilingDbtp,
    lfeCeilingDbtp,
    ceilingLink,
    lowEnd: low,
    bands: multiband,
    bandLines: bandLines.map(({ gainDb, ...line }) => ({ ...line, ...pointsOf(gainDb) })),
    slowCeiling: slow,
    ride,
    lfeRide: pointsOf(lfeRideDb),
  }
  const { scenes = [], reading } = upmix ?? {}
  const voice = reading?.voice100ms ? { ...POINTS, sureness: reading.voice100ms } : null
  return { version: DOCUMENT_VERSION, ...gains, programme, settings, scenes, voice }
}

/** Points lie in the middles of 100 ms hops. */
const POINTS = { hopSeconds: 1 / HOPS_PER_SECOND, firstPointSeconds: 1 / HOPS_PER_SECOND / 2 }

function pointsOf(gainsDb: Float64Array | null) {
  return gainsDb === null ? null : { ...POINTS, gainDb: Array.from(gainsDb) }
}
