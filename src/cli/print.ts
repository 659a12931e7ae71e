import {
  bandOfField,
  type Finding,
  type FoldDownLock,
  LEQ_M_TRADE_LIMITS_DB,
  type LoudnessFigures,
  type Margin,
  type Measurements,
  printFigure,
  printTime,
} from '../domain/index.ts'

const LABEL_CELLS = 22
const VALUE_CELLS = 12

/** One measured value with its unit, in columns. */
function row(label: string, value: number | null, unit: string, remark = ''): string {
  const figure =
    value === null ? 'not measured'.padStart(VALUE_CELLS) : `${printFigure(value, 2).padStart(VALUE_CELLS)} ${unit}`
  return `  ${label.padEnd(LABEL_CELLS)}${figure}${remark === '' ? '' : `   ${remark}`}\n`
}

/** The figures of a file as a mixer reads them. */
export function printMeasurements(measurements: Measurements, withoutTrims: LoudnessFigures | null = null): string {
  const { layout, sampleRateHz, durationSeconds, channels, foldDown } = measurements
  const peaks = channels.map(({ role, maxTruePeakDbtp }) => `${role} ${printFigure(maxTruePeakDbtp)}`).join(', ')
  const samplePeaks = channels.map(({ role, samplePeakDbfs }) => `${role} ${printFigure(samplePeakDbfs)}`).join(', ')
  return [
    `  ${layout}, ${sampleRateHz / 1000} kHz, ${printTime(durationSeconds, 2)}\n`,
    printLoudness(measurements, '', withoutTrims),
    printDialogue(measurements),
    row('true peak', measurements.maxTruePeakDbtp, 'dBTP', channels.length > 1 ? peaks : ''),
    row('sample peak', measurements.samplePeakDbfs, 'dBFS', channels.length > 1 ? samplePeaks : ''),
    ...(foldDown.loRo === null
      ? []
      : ['  fold-down Lo/Ro\n', printLoudness(foldDown.loRo, '  '), printPeaks(foldDown.loRo, '  ')]),
  ].join('')
}

/** What is said of dialogue; nothing where nobody listened. */
function printDialogue({ dialogueLoudnessLkfs, dialogueShare, dialogue, sampleRateHz }: Measurements): string {
  if (dialogueShare === null) return ''
  const share = `${printFigure(100 * dialogueShare, 0)} % of the time`
  if (dialogue === null)
    return row('dialogue loudness', null, 'LKFS', dialogueLoudnessLkfs === null ? 'nobody speaks' : '')
  const lines = dialogue.quietestLines.map(({ startFrame, loudnessLkfs, overBackgroundLu }) => {
    const over = overBackgroundLu === null ? '' : `, ${printFigure(overBackgroundLu)} LU over what is around it`
    return `    quiet line at ${printTime(startFrame / sampleRateHz, 1)}: ${printFigure(loudnessLkfs)} LKFS${over}\n`
  })
  return [
    row('dialogue loudness', dialogueLoudnessLkfs, 'LKFS', share),
    row('programme − dialogue', dialogue.programmeMinusDialogueLu, 'LU'),
    row('dialogue over backgr.', dialogue.dialogueOverBackgroundLu, 'LU', 'median of the lines, 5 s around each'),
    ...lines,
  ].join('')
}

/** Leq(m) beside the limits of the trade. */
export function printLeqM(leqMDb: number | null): string {
  const { trailer, commercial } = LEQ_M_TRADE_LIMITS_DB
  const limits = `cinemas take trailers up to ${trailer}, commercials up to ${commercial} (trade practice, from memory)`
  return row('Leq(m)', leqMDb, 'dB', limits)
}

function printLoudness(figures: LoudnessFigures, indent = '', without: LoudnessFigures | null = null): string {
  const beside = (value: number | null | undefined) =>
    value === undefined || value === null ? '' : `without trims ${printFigure(value, 2)}`
  return [
    row(`${indent}programme loudness`, figures.programmeLoudnessLkfs, 'LKFS', beside(without?.programmeLoudnessLkfs)),
    row(`${indent}loudness range`, figures.loudnessRangeLu, 'LU', beside(without?.loudnessRangeLu)),
    row(`${indent}max momentary`, figures.maxMomentaryLkfs, 'LKFS', beside(without?.maxMomentaryLkfs)),
    row(`${indent}max short-term`, figures.maxShortTermLkfs, 'LKFS', beside(without?.maxShortTermLkfs)),
  ].join('')
}

function printPeaks(figures: LoudnessFigures, indent: string): string {
  return row(`${indent}true peak`, figures.maxTruePeakDbtp, 'dBTP')
}

const SEVERITY_WORDS = { fail: 'NOT MET', warn: 'watch', note: 'note' } as const

/** Findings, the failing ones first. */
export function printFindings(findings: readonly Finding[]): string {
  const order = ['fail', 'warn', 'note']
  return findings
    .toSorted((a, b) => order.indexOf(a.severity) - order.indexOf(b.severity))
    .map(({ severity, message }) => `  ${SEVERITY_WORDS[severity].padEnd(8)} ${message}\n`)
    .join('')
}

const LINE_NAMES: Readonly<Record<string, string>> = {
  programmeLoudnessLkfs: 'programme loudness',
  dialogueLoudnessLkfs: 'dialogue loudness',
  maxTruePeakDbtp: 'true peak',
  maxLfeTruePeakDbtp: 'LFE true peak',
  'lfe.maxShortTermDbfs': 'LFE max short-term',
  'lfe.overFrontsDb': 'LFE over the fronts',
  maxShortTermLkfs: 'max short-term',
  maxMomentaryLkfs: 'max momentary',
  loudnessRangeLu: 'loudness range',
  'foldDown.loRo.programmeLoudnessLkfs': 'Lo/Ro loudness',
  'foldDown.loRo.dialogueLoudnessLkfs': 'Lo/Ro dialogue',
  'foldDown.loRo.maxTruePeakDbtp': 'Lo/Ro true peak',
}

function lineName(field: string): string {
  const band = bandOfField(field)
  return LINE_NAMES[field] ?? (band === null ? field : `${band} level`)
}

const ROLE_NAMES = { 'mix-5.1': '5.1', 'lo-ro': 'stereo', 'lt-rt': 'Lt/Rt', mix: 'mix' } as const

/** How far each line of the spec is inside or outside its limit. */
export function printMargins(margins: readonly Margin[]): string {
  return margins
    .map(({ role, line, measured, limit, margin, unit }) => {
      const name = `${ROLE_NAMES[role]} ${lineName(line)}`
      if (margin === null) return `  ${name.padEnd(LABEL_CELLS + 4)}not measured\n`
      const side = margin >= 0 ? 'inside' : 'OUTSIDE'
      const from = `${printFigure(measured, 2)} ${unit}, limit ${printFigure(limit)}`
      return `  ${name.padEnd(LABEL_CELLS + 4)}${printFigure(Math.abs(margin), 2).padStart(6)} ${side}   ${from}\n`
    })
    .join('')
}

/** The words of a lock: its name, the stereo file, and what that is of the 5.1. */
const LAW_WORDS = {
  'lo-ro': { name: 'fold-down', stereo: 'stereo', made: 'Lo/Ro' },
  'lt-rt': { name: 're-encode', stereo: 'Lt/Rt', made: 'encode' },
} as const

/** The lock of a delivery in a sentence. */
export function printLock(lock: FoldDownLock | null): string {
  if (lock === null) return ''
  const { name, stereo, made } = LAW_WORDS[lock.law]
  if (lock.state === 'closed') {
    const beside =
      lock.masterNullDbfs === null
        ? ''
        : `; against the master under the same gains ${printFigure(lock.masterNullDbfs)} dBFS`
    return `  ${name} lock closed: the ${made} of the 5.1 is the ${stereo}, 0 samples differ${beside}\n`
  }
  if (lock.stereoGainDb !== 0) {
    return `  the ${stereo} has a gain of its own, ${printFigure(lock.stereoGainDb, 2)} dB beside the ${made} of the 5.1\n`
  }
  return `  ${name} lock OPEN: ${lock.differingSamples} samples differ\n`
}
