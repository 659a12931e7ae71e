import type { DeliverySpec, Finding, FitSettings, Measured } from '../../domain/index.ts'
import { certifyRide } from './certify-ride.ts'
import { aimOf, chooseHome } from './choose-home.ts'
import type { Decision, FitCorrection } from './decision.ts'
import { findingsOfHome, nothingToMeasure } from './fit-findings.ts'
import { createFitModel } from './fit-model.ts'
import { highestOf } from './highest.ts'
import { settleStereoGain } from './stereo-gain.ts'

/**
 * Chooses the gains that bring a programme inside a spec with the least movement: the static gain that lands the total
 * on the target and, only where a short-term or momentary line binds, the least ride that keeps every window below it.
 * @param measured the signal to be fitted, its fold-down included: for an upmix the 5.1 as analysed
 * @param correction locks, the ceiling's forecast and what an earlier render missed
 * @source ITU-R BS.1770-5 Annex 1 (gates, re-computed under every ride); the ride: see `tautString`
 */
export function chooseGains(
  measured: Measured,
  spec: DeliverySpec,
  asked: FitSettings,
  correction: FitCorrection = {},
): Decision {
  const settings = settleStereoGain(measured, spec, asked)
  const model = createFitModel(measured, spec, settings, correction)
  const ceilingDbtp = ceilingOf(spec, settings, correction)
  const unity = new Float64Array(model.hopCount)
  const sourceLkfs = model.anchoredTotal(unity)
  if (sourceLkfs === null) {
    return {
      plan: { staticGainDb: 0, rideDb: null, ceilingDbtp },
      stereoGainDb: 0,
      expected: model.expected(unity),
      certificate: null,
      feasible: false,
      findings: [nothingToMeasure(measured, spec)],
    }
  }
  const aim = aimOf(spec, correction.aimShiftLu ?? 0)
  const home = chooseHome(model, aim, sourceLkfs)
  const gainsDb = model.gainsAt(home.homeDb)
  const staticGainDb = highestOf(gainsDb)
  const rideDb = gainsDb.every((gainDb) => gainDb === staticGainDb)
    ? null
    : gainsDb.map((gainDb) => gainDb - staticGainDb)
  const findings: Finding[] = findingsOfHome(model, home, aim, spec)
  return {
    plan: { staticGainDb, rideDb, ceilingDbtp },
    stereoGainDb: model.stereoGainDb,
    expected: model.expected(gainsDb),
    certificate: rideDb === null ? null : certifyRide(model.corridor, gainsDb, staticGainDb, settings),
    feasible: findings.every((finding) => finding.severity !== 'fail'),
    findings,
  }
}

/** Words of a file end a little below full scale, whatever a spec allows: nothing may clip. */
const HIGHEST_CEILING_DBTP = -0.01

function ceilingOf(spec: DeliverySpec, settings: FitSettings, correction: FitCorrection): number {
  if (spec.maxTruePeakDbtp === undefined) return HIGHEST_CEILING_DBTP
  const asked = spec.maxTruePeakDbtp.value - settings.ceilingAimBelowDb - (correction.ceilingShiftDb ?? 0)
  return Math.min(asked, HIGHEST_CEILING_DBTP)
}
