import { type DeliverySpec, type FitSettings, gainToDb, type Measured } from '../../domain/index.ts'
import { chooseGains } from './choose-gains.ts'
import type { Decision, FitCorrection } from './decision.ts'
import { anchored, anchoredLoudness } from './fit-model.ts'
import { loudestOf, windowLines } from './judged-lines.ts'
import { type SettledFit, settleStereoGain } from './stereo-gain.ts'

/** A decision that was rendered, and what was then measured on the bytes: the mix with its fold-down. */
export type Render = { readonly decision: Decision; readonly measured: Measured }

/** Between two renders a reading follows its forecast within these bounds, or the secant is not to be trusted. */
const LEAST_SLOPE = 0.25
const GREATEST_SLOPE = 2
/** How much further than the excess a line is backed away from. */
const BACK_OFF_DB = 0.003

/**
 * Chooses again after renders that missed: a secant over forecasts and readings moves the aim of the total, and each
 * line that was exceeded is held lower by what it was exceeded by.
 * @param renders in the order in which they were made, at least one
 */
export function refineGains(
  measured: Measured,
  spec: DeliverySpec,
  asked: FitSettings,
  renders: readonly Render[],
  correction: FitCorrection = {},
): Decision {
  const settings = settleStereoGain(measured, spec, asked)
  return chooseGains(measured, spec, settings, {
    ...correction,
    aimShiftLu: aimShift(spec, settings, renders),
    guardShiftLu: sumOfExcesses(renders, (render) => windowExcess(render, spec)),
    ceilingShiftDb: sumOfExcesses(renders, (render) => truePeakExcess(render, spec)),
  })
}

/** Where the forecast must stand so that the reading lands on the target, minus the target. */
function aimShift(spec: DeliverySpec, settings: SettledFit, renders: readonly Render[]): number {
  const points = renders.flatMap(({ decision, measured }) => {
    const reading = anchoredLoudness(measured, settings)
    const { programmeLoudnessLkfs, foldDown } = decision.expected
    const forecast = anchored(programmeLoudnessLkfs, foldDown?.programmeLoudnessLkfs ?? null, settings)
    return reading === null || forecast === null ? [] : [{ reading, forecast }]
  })
  const last = points.at(-1)
  if (last === undefined) return 0
  const before = points.at(-2) ?? last
  const run = last.forecast - before.forecast
  const slope = run === 0 ? 1 : (last.reading - before.reading) / run
  const { targetLkfs } = spec.programmeLoudness
  const step = (targetLkfs - last.reading) / Math.min(Math.max(slope, LEAST_SLOPE), GREATEST_SLOPE)
  return last.forecast + step - targetLkfs
}

function sumOfExcesses(renders: readonly Render[], excessOf: (render: Render) => number): number {
  return renders.reduce((sum, render) => {
    const excess = excessOf(render)
    return excess > 0 ? sum + excess + BACK_OFF_DB : sum
  }, 0)
}

/** By how much the loudest window of a render lies above the line that it exceeds most. */
function windowExcess({ decision, measured }: Render, spec: DeliverySpec): number {
  const lines = windowLines(measured, spec, decision.stereoGainDb)
  return Math.max(0, ...lines.map((line) => (loudestOf(line) ?? line.limitLkfs) - line.limitLkfs))
}

function truePeakExcess({ measured }: Render, spec: DeliverySpec): number {
  if (spec.maxTruePeakDbtp === undefined) return 0
  const peaks = [...measured.channels, ...(measured.foldDown ?? [])].map((channel) => channel.truePeak.value)
  return gainToDb(Math.max(0, ...peaks)) - spec.maxTruePeakDbtp.value
}
