import type { DeliverySpec, FitSettings, Limit, LoudnessFigures, Measured, Measurements } from '../../domain/index.ts'
import { chooseGains } from './choose-gains.ts'
import type { Decision, FitCorrection } from './decision.ts'
import { anchored } from './fit-model.ts'
import { fitSource } from './fit-source.ts'
import { rideLfe } from './lfe-ride.ts'
import { type SettledFit, settleStereoGain } from './stereo-gain.ts'

/** A decision that was rendered, and what was then measured on the bytes: the mix with its fold-down. */
export type Render = {
  readonly decision: Decision
  readonly measurements: Measurements
  /** The level of each band line in every file, by its id. */
  readonly bandLevels?: readonly Readonly<Record<string, number | null>>[]
  /** The Lt/Rt where that is the stereo of the delivery: it is fitted along in place of the fold-down. */
  readonly ltRt?: Measurements
}

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
  const settings = settleStereoGain(fitSource(measured, correction), spec, asked)
  return chooseGains(measured, spec, settings, {
    ...correction,
    aimShiftLu: aimShift(spec, settings, renders, correction.dialogue100ms !== undefined),
    guardShiftLu: sumOfExcesses(renders, (render) => windowExcess(render, spec)),
    lfeShiftDb: lfeShifts(renders, spec),
    rangeShiftLu: sumOfExcesses(renders, (render) => rangeExcess(render, spec)),
    ceilingShiftDb: sumOfExcesses(renders, (render) => truePeakExcess(render, spec)),
  })
}

/** Chooses again the ride of the LFE alone, after renders in which nothing but its lines was missed. */
export function refineLfe(
  measured: Measured,
  spec: DeliverySpec,
  settings: FitSettings,
  renders: readonly Render[],
  correction: FitCorrection = {},
): Decision {
  const { decision } = renders.at(-1) as Render
  return rideLfe(decision, measured, spec, settings, { ...correction, lfeShiftDb: lfeShifts(renders, spec) })
}

/** By how much each line of the LFE was exceeded, by its field. */
function lfeShifts(renders: readonly Render[], spec: DeliverySpec): Readonly<Record<string, number>> {
  const lines = [
    ['maxShortTermDbfs', spec.maxLfeShortTermDbfs],
    ['overFrontsDb', spec.maxLfeOverFrontsDb],
  ] as const
  return Object.fromEntries(
    lines.map(([figure, limit]) => [
      `lfe.${figure}`,
      sumOfExcesses(renders, ({ measurements }) => {
        const level = measurements.lfe?.[figure] ?? null
        return limit === undefined || level === null ? 0 : level - limit.value
      }),
    ]),
  )
}

/** By how much each line on a band was exceeded, by its id, on the file that exceeded it most. */
export function bandShifts(
  renders: readonly Render[],
  { bandLevels = [] }: DeliverySpec,
): Readonly<Record<string, number>> {
  return Object.fromEntries(
    bandLevels.map(({ id, value }) => [
      id,
      sumOfExcesses(renders, ({ bandLevels: levels = [] }) =>
        Math.max(0, ...levels.map((of) => (of[id] ?? value) - value)),
      ),
    ]),
  )
}

/** Where the forecast must stand so that the reading lands on the target, minus the target. */
function aimShift(spec: DeliverySpec, settings: SettledFit, renders: readonly Render[], isOnDialogue: boolean): number {
  const field = isOnDialogue ? 'dialogueLoudnessLkfs' : 'programmeLoudnessLkfs'
  const points = renders.flatMap((render) => {
    const { decision, measurements } = render
    const foldDownLkfs = stereoOf(render)?.[field] ?? null
    const reading = anchored(measurements[field], foldDownLkfs, settings)
    const { anchorLkfs, foldDown } = decision.expected
    const forecast = anchored(anchorLkfs, foldDown?.anchorLkfs ?? null, settings)
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
function windowExcess(render: Render, spec: DeliverySpec): number {
  const { decision, measurements, ltRt } = render
  const over = (limit: Limit | undefined, lkfs: number | null | undefined, ownGainDb: number) =>
    limit?.severity === 'fail' && typeof lkfs === 'number' ? lkfs + ownGainDb - limit.value : 0
  const overLines = (figures: LoudnessFigures | null, ownGainDb: number) => [
    over(spec.maxShortTermLkfs, figures?.maxShortTermLkfs, ownGainDb),
    over(spec.maxMomentaryLkfs, figures?.maxMomentaryLkfs, ownGainDb),
  ]
  return Math.max(
    0,
    ...overLines(measurements, 0),
    ...overLines(stereoOf(render), ltRt === undefined ? decision.stereoGainDb : 0),
  )
}

/** By how much the loudness range of a render lies above its line, on the signal that has most of it. */
function rangeExcess(render: Render, { maxLoudnessRangeLu }: DeliverySpec): number {
  if (maxLoudnessRangeLu?.severity !== 'fail') return 0
  const ranges = [render.measurements.loudnessRangeLu, stereoOf(render)?.loudnessRangeLu]
  return Math.max(0, ...ranges.map((range) => (range ?? 0) - maxLoudnessRangeLu.value))
}

/** The figures of the stereo: of the fold-down before any gain of its own, or of the Lt/Rt as it was written. */
function stereoOf({ measurements, ltRt }: Render) {
  return ltRt ?? measurements.foldDown.loRo
}

function truePeakExcess(render: Render, spec: DeliverySpec): number {
  if (spec.maxTruePeakDbtp === undefined) return 0
  const peaks = [render.measurements.maxTruePeakDbtp, stereoOf(render)?.maxTruePeakDbtp]
  return Math.max(...peaks.map((peak) => peak ?? Number.NEGATIVE_INFINITY)) - spec.maxTruePeakDbtp.value
}
