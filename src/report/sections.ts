import {
  bandField,
  type DeliveredFile,
  type DeliveryReport,
  type FoldDownLock,
  type LoudnessFigures,
  printFigure,
  printTime,
} from '../domain/index.ts'
import { highestOf } from './curves.ts'
import { type Markup, markup } from './markup.ts'
import { excessInWords, numberedPlaces, placeInWords } from './places.ts'
import { roomStroke } from './standing.ts'
import { basisWords, FILE_WORDS, figureWords, lineWords, withUnit } from './words.ts'

/** True and sample peak of every channel of every file, each with its margin to the limit. */
export function channelPeaks(report: DeliveryReport): Markup | null {
  if (report.deliverables.length === 0) return null
  const limit = report.spec.maxTruePeakDbtp?.value ?? 0
  const bound =
    report.spec.maxTruePeakDbtp === undefined
      ? 'full scale (the spec has no limit)'
      : `the limit of ${printFigure(limit)} dBTP`
  return markup`<section class="second"><h2>Peaks, channel by channel</h2>
<p class="quiet">The stroke runs from ${bound} to the right as far as the channel stays below it, up to 6 dB.</p>
<table><thead><tr><th scope="col">File</th><th scope="col">Channel</th><th scope="col" class="number">True peak</th><th scope="col" class="number">Sample peak</th><th scope="col" class="number">Margin</th><th scope="col" class="cell"><span class="quiet">limit, then margin</span></th></tr></thead>
<tbody>${report.deliverables.map((file) => file.measurements.channels.map((channel, index) => channelRow(file, channel, index, limit)))}</tbody></table></section>`
}

function channelRow(
  file: DeliveredFile,
  channel: DeliveredFile['measurements']['channels'][number],
  index: number,
  limit: number,
): Markup {
  const peak = channel.maxTruePeakDbtp
  const room = peak === null ? null : limit - peak
  const roomText =
    room === null
      ? markup`<span class="quiet">silent</span>`
      : room < -0.05
        ? markup`<span class="over">${printFigure(-room)} over</span>`
        : markup`${printFigure(Math.max(0, room))} <span class="unit">dB</span>`
  const level = (value: number | null, unit: string) =>
    value === null ? markup`<span class="quiet">silent</span>` : withUnit(value, unit)
  return markup`<tr>${index === 0 ? markup`<th scope="row">${FILE_WORDS[file.role]}</th>` : markup`<td></td>`}<td>${channel.role}</td><td class="number">${level(peak, 'dBTP')}</td><td class="number">${level(channel.samplePeakDbfs, 'dBFS')}</td><td class="number">${roomText}</td><td class="cell">${roomStroke({ margin: room })}</td></tr>`
}

/** The fold-down lock in words, and how the fold-downs stand. */
export function foldDown(report: DeliveryReport): Markup | null {
  const mix = report.deliverables.find((file) => file.measurements.foldDown.loRo !== null)
  const lock = report.foldDownLock
  if (mix === undefined && lock === null) return null
  const rows = mix === undefined ? [] : foldDownRows(mix)
  const held =
    lock === null ? 'No stereo is delivered beside the 5.1: its fold-down was measured only.' : lockInWords(lock)
  const beside =
    lock?.masterNullDbfs == null
      ? null
      : markup`<p>Against the master under its own gains the ${LAW_WORDS[lock.law].stereo} nulls to ${withUnit(lock.masterNullDbfs, 'dBFS RMS')}.</p>`
  return markup`<section><h2>Fold-down</h2><p>${held}</p>${beside}<table><thead><tr><th scope="col">Fold-down of the ${mix === undefined ? 'mix' : FILE_WORDS[mix.role]}</th><th scope="col" class="number">Programme loudness</th><th scope="col" class="number">Beside the mix</th><th scope="col" class="number">True peak</th></tr></thead><tbody>${rows}</tbody></table></section>`
}

/** The words of a lock: its name, the stereo file, and what that is of the 5.1. */
const LAW_WORDS = {
  'lo-ro': { name: 'fold-down', stereo: 'stereo', made: 'the Lo/Ro fold-down' },
  'lt-rt': { name: 're-encode', stereo: 'Lt/Rt', made: 'the encode L + k(C - Ls - Rs), R + k(C + Ls + Rs)' },
} as const

function lockInWords({ law, state, differingSamples, coefficient, stereoGainDb }: FoldDownLock): string {
  const { name, stereo, made } = LAW_WORDS[law]
  if (state === 'closed') {
    return `The ${name} lock is closed: the ${stereo} file is ${made} of the 5.1 file, sample for sample (0 samples differ, k = ${coefficient}).`
  }
  if (stereoGainDb !== 0) {
    return `The ${stereo} file has a gain of its own, ${printFigure(stereoGainDb, 2)} dB beside the 5.1: it is ${made} only after that constant.`
  }
  return `The ${name} lock is open: ${differingSamples} samples of the ${stereo} file differ from ${made} of the 5.1 (k = ${coefficient}).`
}

function foldDownRows(mix: DeliveredFile): readonly Markup[] {
  const { loRo, ltRt, mono } = mix.measurements.foldDown
  const whole = mix.measurements.programmeLoudnessLkfs
  const row = (name: string, figures: LoudnessFigures | null) => {
    if (figures === null)
      return markup`<tr><th scope="row">${name}</th><td class="number">${figureWords(null)}</td><td></td><td></td></tr>`
    const loudness = figures.programmeLoudnessLkfs
    const beside = loudness === null || whole === null ? null : loudness - whole
    const sign = beside !== null && beside > 0 ? '+' : ''
    return markup`<tr><th scope="row">${name}</th><td class="number">${withUnit(loudness, 'LKFS')}</td><td class="number">${beside === null ? figureWords(null) : markup`${sign}${printFigure(beside)} <span class="unit">LU</span>`}</td><td class="number">${withUnit(figures.maxTruePeakDbtp, 'dBTP')}</td></tr>`
  }
  return [row('Lo/Ro', loRo), row('Lt/Rt', ltRt), row('Mono', mono)]
}

const SEVERITY_WORDS = { fail: 'Fails', warn: 'Warning', note: 'Note' } as const

/** Every finding, with the number of its place in the chart. */
export function findings(report: DeliveryReport): Markup {
  if (report.findings.length === 0) return markup`<section><h2>Findings</h2><p>None.</p></section>`
  const places = numberedPlaces(report)
  return markup`<section><h2>Findings</h2><table><thead><tr><th scope="col">Kind</th><th scope="col">Place</th><th scope="col">What was found</th><th scope="col">From</th></tr></thead><tbody>${report.findings.map(
    (finding) => {
      const place = places.find((each) => each.finding === finding)
      const kind = SEVERITY_WORDS[finding.severity]
      return markup`<tr><th scope="row">${finding.severity === 'fail' ? markup`<span class="over">${kind}</span>` : kind}</th><td>${
        place === undefined
          ? markup`<span class="quiet">whole programme</span>`
          : markup`<b>${place.number}</b> ${placeInWords(place.at, report.source.startOfDaySeconds)}<br/><span class="${finding.severity === 'fail' ? 'over' : 'quiet'}">${excessInWords(finding)}</span>`
      }</td><td>${finding.message}</td><td><small>${finding.source}</small></td></tr>`
    },
  )}</tbody></table></section>`
}

/** What the spec is, and where each of its numbers is from. */
export function specSection(report: DeliveryReport): Markup {
  const { spec } = report
  const lines = [
    { name: 'Loudness', source: spec.programmeLoudness.source },
    ...[
      { name: 'True peak', limit: spec.maxTruePeakDbtp },
      { name: 'True peak of the LFE', limit: spec.maxLfeTruePeakDbtp },
      { name: 'Short-term level of the LFE', limit: spec.maxLfeShortTermDbfs },
      { name: 'LFE above the low end of the fronts', limit: spec.maxLfeOverFrontsDb },
      { name: 'Short-term', limit: spec.maxShortTermLkfs },
      { name: 'Momentary', limit: spec.maxMomentaryLkfs },
      { name: 'Loudness range', limit: spec.maxLoudnessRangeLu },
      ...(spec.bandLevels ?? []).map((limit) => ({ name: lineWords(bandField(limit)).name, limit })),
    ].flatMap(({ name, limit }) => (limit === undefined ? [] : [{ name, source: limit.source }])),
  ]
  return markup`<section><h2>The spec: ${spec.title}, ${spec.edition}</h2><p>${spec.purpose}</p><table><thead><tr><th scope="col">Line</th><th scope="col">Document</th><th scope="col">Clause</th><th scope="col">How we know it</th></tr></thead><tbody>${lines.map(
    ({ name, source }) =>
      markup`<tr><th scope="row">${name}</th><td>${source.document}, ${source.edition}</td><td>${source.clause}</td><td>${basisWords(source)}</td></tr>`,
  )}</tbody></table>${waived(spec.waivers ?? [])}${spec.notes.length === 0 ? null : markup`<ul>${spec.notes.map((note) => markup`<li>${note}</li>`)}</ul>`}</section>`
}

/** Lines that the title's sheet lets go, each with the reason; said whether the title meets them or not. */
function waived(waivers: NonNullable<DeliveryReport['spec']['waivers']>): Markup | null {
  if (waivers.length === 0) return null
  const lines = waivers.map(({ line, reason }) => markup`<li>Waived: ${lineWords(line).name}. Reason: ${reason}</li>`)
  return markup`<ul>${lines}</ul>`
}

const MOST_STRETCHES = 16

/** The loudness chart as a table, for those who cannot see it or want figures. */
export function chartInFigures(report: DeliveryReport): Markup {
  const { delivered, source } = report.history
  const columnCount = delivered.shortTermLkfs.high.length
  const perStretch = Math.ceil(columnCount / MOST_STRETCHES)
  const start = report.source.startOfDaySeconds ?? 0
  const rows: Markup[] = []
  for (let first = 0; first < columnCount; first += perStretch) {
    const last = Math.min(columnCount, first + perStretch) - 1
    const most = (curve: typeof delivered.shortTermLkfs | undefined) =>
      curve === undefined ? null : highestOf(curve, first, last)
    const from = printTime(start + first * delivered.columnSeconds)
    rows.push(
      markup`<tr><th scope="row">${from}</th>${[
        delivered.shortTermLkfs,
        delivered.momentaryLkfs,
        source?.shortTermLkfs,
      ].map((curve) => markup`<td class="number">${figureWords(most(curve))}</td>`)}</tr>`,
    )
  }
  return markup`<details><summary>The same in figures</summary><table><thead><tr><th scope="col">From</th><th scope="col" class="number">Highest short-term <span class="unit">LKFS</span></th><th scope="col" class="number">Highest momentary <span class="unit">LKFS</span></th><th scope="col" class="number">Source, short-term <span class="unit">LKFS</span></th></tr></thead><tbody>${rows}</tbody></table></details>`
}
