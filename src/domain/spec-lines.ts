import { type DeliverableRole, isStereoRole } from './delivery.ts'
import { isJudgedOnDialogue } from './dialogue.ts'
import { printFigure } from './figures.ts'
import { bandField, bandOfField } from './loudness/index.ts'
import type { Measurements } from './measurements.ts'
import type { BandLine, Clause, DeliverySpec } from './spec.ts'

/** One line of a spec held against one file: what was measured and the bounds it must stay inside. */
export type SpecLine = {
  readonly id: string
  /** The field of the measurements, e.g. `foldDown.loRo.maxTruePeakDbtp`. */
  readonly field: string
  /** In trade words, for sentences. */
  readonly name: string
  readonly measured: number | null
  readonly low: number | null
  readonly high: number
  readonly unit: 'LKFS' | 'dBTP' | 'LU' | 'dBFS' | 'dB'
  readonly severity: 'fail' | 'warn'
  readonly source: Clause
  /** What the mixer can do where it is missed. */
  readonly remedy: string
}

/** A fold-down that is not itself delivered is held to the same numbers, but only warns. */
const FOLD_DOWN_PRACTICE: Clause = {
  document: 'common practice',
  edition: '2026',
  clause: 'a 5.1 and its stereo fold-down are both checked',
  basis: 'common practice',
}

/** Every line that the spec asks of this file, in the order of the report. */
export function specLines(measurements: Measurements, spec: DeliverySpec, role: DeliverableRole): readonly SpecLine[] {
  const ceiling = spec.maxTruePeakDbtp
  return [
    loudnessLine(measurements, spec),
    ...limit(ceiling, {
      id: 'true-peak',
      field: 'maxTruePeakDbtp',
      name: 'true peak',
      measured: measurements.maxTruePeakDbtp,
      unit: 'dBTP',
      remedy: 'lower the ceiling, or trim the place',
    }),
    ...(isStereoRole(role) ? [] : lfeLines(measurements, spec)),
    ...limit(spec.maxShortTermLkfs, {
      id: 'short-term',
      field: 'maxShortTermLkfs',
      name: 'short-term loudness',
      measured: measurements.maxShortTermLkfs,
      unit: 'LKFS',
      remedy: 'trim the passage, or let the ride act on it',
    }),
    ...limit(spec.maxMomentaryLkfs, {
      id: 'momentary',
      field: 'maxMomentaryLkfs',
      name: 'momentary loudness',
      measured: measurements.maxMomentaryLkfs,
      unit: 'LKFS',
      remedy: 'trim the passage, or let the ride act on it',
    }),
    ...limit(spec.maxLoudnessRangeLu, {
      id: 'loudness-range',
      field: 'loudnessRangeLu',
      name: 'loudness range',
      measured: measurements.loudnessRangeLu,
      unit: 'LU',
      remedy: 'bring the loudest and the softest scenes closer together, or agree it with the recipient',
    }),
    ...bandLines(measurements, spec),
    ...(isStereoRole(role) ? [] : foldDownLines(measurements, spec)),
  ]
}

/** A band that is silent keeps every line. */
function bandLines({ bandLevels, programmeLoudnessLkfs }: Measurements, spec: DeliverySpec): readonly SpecLine[] {
  return (spec.bandLevels ?? []).flatMap((asked) => {
    const field = bandField(asked)
    const measured = bandLevels?.[asked.id] ?? null
    if (bandLevels !== null && measured === null && programmeLoudnessLkfs !== null) return []
    const within = asked.over === 'short-term' ? 'short-term level' : 'level'
    const beside = asked.beside === 'full-scale' ? '' : ' over the programme loudness'
    return limit(asked, {
      id: 'band-level',
      field,
      name: `${within} of the ${bandOfField(field)} (${rangeInWords(asked)})${beside}`,
      measured,
      unit: asked.beside === 'full-scale' ? 'dBFS' : 'dB',
      remedy: 'turn the band down there, or let the fit find its threshold (bands=lines)',
    })
  })
}

/** Where a band lies, e.g. `30 to 120 Hz`. */
export function rangeInWords({ fromHz, toHz }: Pick<BandLine, 'fromHz' | 'toHz'>): string {
  if (fromHz === null) return `below ${printFigure(toHz, 0)} Hz`
  return toHz === null
    ? `above ${printFigure(fromHz, 0)} Hz`
    : `${printFigure(fromHz, 0)} to ${printFigure(toHz, 0)} Hz`
}

function lfeLines({ channels, lfe }: Measurements, spec: DeliverySpec): readonly SpecLine[] {
  const peaks = channels.find(({ role }) => role === 'LFE')
  if (peaks === undefined) return []
  const remedy = 'turn the LFE down there, or let its own ride act'
  return [
    ...limit(spec.maxLfeTruePeakDbtp, {
      id: 'lfe-true-peak',
      field: 'maxLfeTruePeakDbtp',
      name: 'true peak of the LFE',
      measured: peaks.maxTruePeakDbtp,
      unit: 'dBTP',
      remedy: 'turn the LFE down there, or let its ceiling act',
    }),
    ...limit(spec.maxLfeShortTermDbfs, {
      id: 'lfe-short-term',
      field: 'lfe.maxShortTermDbfs',
      name: 'short-term level of the LFE',
      measured: lfe?.maxShortTermDbfs ?? null,
      unit: 'dBFS',
      remedy,
    }),
    // A silent LFE stands above nothing.
    ...limit(lfe !== null && lfe.maxShortTermDbfs === null ? undefined : spec.maxLfeOverFrontsDb, {
      id: 'lfe-over-fronts',
      field: 'lfe.overFrontsDb',
      name: 'level of the LFE above the low end of the fronts',
      measured: lfe?.overFrontsDb ?? null,
      unit: 'dB',
      remedy,
    }),
  ]
}

function loudnessLine(measurements: Measurements, spec: DeliverySpec): SpecLine {
  const { targetLkfs, toleranceBelowLu, toleranceAboveLu, source } = spec.programmeLoudness
  const isDialogue = isJudgedOnDialogue(spec, measurements)
  return {
    id: isDialogue ? 'dialogue-loudness' : 'programme-loudness',
    field: isDialogue ? 'dialogueLoudnessLkfs' : 'programmeLoudnessLkfs',
    name: isDialogue ? 'dialogue loudness' : 'programme loudness',
    measured: isDialogue ? measurements.dialogueLoudnessLkfs : measurements.programmeLoudnessLkfs,
    low: targetLkfs - toleranceBelowLu,
    high: targetLkfs + toleranceAboveLu,
    unit: 'LKFS',
    severity: 'fail',
    source,
    remedy: 'move the whole mix to the target by a static gain',
  }
}

function foldDownLines(measurements: Measurements, spec: DeliverySpec): readonly SpecLine[] {
  const loRo = measurements.foldDown.loRo
  if (loRo === null) return []
  const { targetLkfs, toleranceBelowLu, toleranceAboveLu } = spec.programmeLoudness
  const shared = { severity: 'warn', source: FOLD_DOWN_PRACTICE } as const
  const isDialogue = isJudgedOnDialogue(spec, measurements)
  const loudness: SpecLine = {
    ...shared,
    id: 'fold-down-loudness',
    field: isDialogue ? 'foldDown.loRo.dialogueLoudnessLkfs' : 'foldDown.loRo.programmeLoudnessLkfs',
    name: isDialogue ? 'dialogue loudness of the Lo/Ro fold-down' : 'loudness of the Lo/Ro fold-down',
    measured: isDialogue ? loRo.dialogueLoudnessLkfs : loRo.programmeLoudnessLkfs,
    low: targetLkfs - toleranceBelowLu,
    high: targetLkfs + toleranceAboveLu,
    unit: 'LKFS',
    remedy: 'check the levels of centre and surrounds, or deliver the stereo at a gain of its own',
  }
  if (spec.maxTruePeakDbtp === undefined) return [loudness]
  const peak: SpecLine = {
    ...shared,
    id: 'fold-down-true-peak',
    field: 'foldDown.loRo.maxTruePeakDbtp',
    name: 'true peak of the Lo/Ro fold-down',
    measured: loRo.maxTruePeakDbtp,
    low: null,
    high: spec.maxTruePeakDbtp.value,
    unit: 'dBTP',
    remedy: 'trim the place, or let the ceiling act, which sees the fold-down too',
  }
  return [loudness, peak]
}

function limit(
  asked: DeliverySpec['maxTruePeakDbtp'],
  line: Omit<SpecLine, 'low' | 'high' | 'severity' | 'source'>,
): readonly SpecLine[] {
  return asked === undefined
    ? []
    : [{ ...line, low: null, high: asked.value, severity: asked.severity, source: asked.source }]
}
