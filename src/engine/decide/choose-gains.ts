import type { DeliverySpec, FitSettings, GainPlan, Measured } from '../../domain/index.ts'
import { planSlowCeiling } from './ceiling-slow-part.ts'
import { certifyRide } from './certify-ride.ts'
import { aimOf } from './choose-home.ts'
import { MAX_STATIC_GAIN_DB } from './corridor.ts'
import type { Decision, FitCorrection } from './decision.ts'
import { findingsOfHome, nothingToMeasure } from './fit-findings.ts'
import { createFitModel, type FitModel } from './fit-model.ts'
import { fitSource } from './fit-source.ts'
import { highestOf } from './highest.ts'
import { levelScenes } from './level-scenes.ts'
import { rideLfe } from './lfe-ride.ts'
import { findingsOfRange } from './range-findings.ts'
import { findingsOfReach, settleHome } from './settle-home.ts'
import { settleStereoGain } from './stereo-gain.ts'

/**
 * Chooses the gains that bring a programme inside a spec with the least movement: the static gain that lands the total
 * on the target and, only where a short-term or momentary line binds, the least ride that keeps every window below it.
 * @param measured the signal to be fitted, its fold-down included: for an upmix the 5.1 as analysed
 * @param correction the mixer's trims and locks, the ceiling's forecast and what an earlier render missed
 * @source ITU-R BS.1770-5 Annex 1 (gates, re-computed under every ride); the ride: see `leastRide`
 */
export function chooseGains(
  measured: Measured,
  spec: DeliverySpec,
  asked: FitSettings,
  correction: FitCorrection = {},
): Decision {
  return rideLfe(chooseCommonGains(measured, spec, asked, correction), measured, spec, asked, correction)
}

/** All but the ride of the LFE, which has no say in any of it. */
function chooseCommonGains(
  measured: Measured,
  spec: DeliverySpec,
  asked: FitSettings,
  correction: FitCorrection,
): Decision {
  const source = fitSource(measured, correction)
  const settings = settleStereoGain(source, spec, asked)
  const askedModel = createFitModel(source, spec, settings, correction)
  const { trimsDb = null, programme, lowEnd, bands, bandLines } = correction
  if (settings.stages === 'trims') return trimsAlone(askedModel, trimsDb, programme)
  const ceilingDbtp = ceilingOf(spec, settings, correction)
  const unity = new Float64Array(askedModel.hopCount)
  const sourceLkfs = askedModel.anchoredTotal(unity)
  if (sourceLkfs === null) {
    return {
      plan: { staticGainDb: 0, rideDb: trimsDb, ceilingDbtp, programme },
      stereoGainDb: 0,
      expected: askedModel.expected(unity),
      certificate: null,
      feasible: false,
      isUnproved: false,
      findings: [nothingToMeasure(measured, spec)],
    }
  }
  const aim = aimOf(spec, correction.aimShiftLu ?? 0)
  const atHome = settleHome(source, spec, { model: askedModel, settings }, correction, aim, sourceLkfs)
  const settled = levelScenes(atHome, spec, correction, aim, sourceLkfs)
  const { model, home } = settled
  const gainsDb = model.gainsAt(home.homeDb)
  const staticGainDb = Math.min(home.homeDb, highestOf(gainsDb))
  const rideDb = gainsDb.every((gainDb) => gainDb === staticGainDb)
    ? null
    : gainsDb.map((gainDb) => gainDb - staticGainDb)
  const findings = [
    ...findingsOfHome(model, home, aim, spec),
    ...findingsOfReach(settings.rideReachSeconds, settled),
    ...findingsOfRange(settled, spec),
  ]
  const failed = findings.filter(({ severity }) => severity === 'fail')
  const gains = {
    staticGainDb,
    rideDb: onTopOf(trimsDb, rideDb),
    ceilingDbtp,
    ...lfeCeiling(spec, settings, ceilingDbtp),
    ...ceilingLink(settings),
    programme,
    ...(lowEnd !== undefined && { lowEnd }),
    ...(bands !== undefined && { bands }),
    ...(bandLines !== undefined && { bandLines }),
  }
  const planned = () => planSlowCeiling(measured, gains, (slowDb) => totalTaken(model, gainsDb, slowDb))
  const slowCeiling = correction.slowCeiling === undefined ? planned() : correction.slowCeiling
  return {
    plan: slowCeiling === null ? gains : { ...gains, slowCeiling },
    stereoGainDb: model.stereoGainDb,
    expected: model.expected(gainsDb),
    certificate: rideDb === null ? null : certifyRide(settled, gainsDb, staticGainDb, correction.speech100ms ?? null),
    feasible: failed.length === 0,
    isUnproved: failed.length > 0 && failed.every(({ id }) => isForecast(id, model)),
    findings,
  }
}

/** What a finding rests on: what the ceiling takes and what range a search reaches are forecasts, no proofs. */
function isForecast(id: string, { ceilingBoundDb }: FitModel): boolean {
  return id === 'range-out-of-reach' || (id === 'target-out-of-reach' && ceilingBoundDb < MAX_STATIC_GAIN_DB)
}

/** What a further gain on each hop takes off the total, in LU. */
function totalTaken(model: FitModel, gainsDb: Float64Array, slowDb: Float64Array): number {
  const before = model.anchoredTotal(gainsDb)
  const after = model.anchoredTotal(gainsDb.map((gainDb, hop) => gainDb + (slowDb[hop] as number)))
  return before === null ? 0 : after === null ? Number.POSITIVE_INFINITY : before - after
}

/** Applies nothing but what the mixer asked for: how a trim sounds and reads by itself. */
function trimsAlone(model: FitModel, rideDb: Float64Array | null, programme: GainPlan['programme']): Decision {
  return {
    plan: { staticGainDb: 0, rideDb, ceilingDbtp: null, programme },
    stereoGainDb: 0,
    expected: model.expected(new Float64Array(model.hopCount)),
    certificate: null,
    feasible: true,
    isUnproved: false,
    findings: [],
  }
}

function onTopOf(trimsDb: Float64Array | null, rideDb: Float64Array | null): Float64Array | null {
  if (trimsDb === null || rideDb === null) return trimsDb ?? rideDb
  return rideDb.map((gainDb, hop) => gainDb + (trimsDb[hop] as number))
}

/** Where the LFE has a line of its own it has a ceiling of its own, as far below it; the other one holds for it too. */
function lfeCeiling(spec: DeliverySpec, settings: FitSettings, ceilingDbtp: number): Pick<GainPlan, 'lfeCeilingDbtp'> {
  if (spec.maxLfeTruePeakDbtp === undefined) return {}
  return { lfeCeilingDbtp: Math.min(spec.maxLfeTruePeakDbtp.value - settings.ceilingAimBelowDb, ceilingDbtp) }
}

function ceilingLink({ ceilingLink: grouping, ceilingUnlinkedMostDb: mostDb }: FitSettings): Partial<GainPlan> {
  return grouping === 'all' ? {} : { ceilingLink: { grouping, mostDb } }
}

/** Words of a file end a little below full scale, whatever a spec allows: nothing may clip. */
const HIGHEST_CEILING_DBTP = -0.01

function ceilingOf(spec: DeliverySpec, settings: FitSettings, correction: FitCorrection): number {
  if (spec.maxTruePeakDbtp === undefined) return HIGHEST_CEILING_DBTP
  const asked = spec.maxTruePeakDbtp.value - settings.ceilingAimBelowDb - (correction.ceilingShiftDb ?? 0)
  return Math.min(asked, HIGHEST_CEILING_DBTP)
}
