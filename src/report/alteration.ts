import {
  type Alteration,
  type AlteredDialogue,
  type CeilingWork,
  type DeliveryReport,
  type HeardMoves,
  type LfeFigures,
  type Measurements,
  peakToLoudness,
  printFigure,
  type RideTouch,
  rangeInWords,
} from '../domain/index.ts'
import { alterationCaption, alterationDrawing, alterationInWords } from './alteration-chart.ts'
import { type Markup, markup } from './markup.ts'
import { placeInWords } from './places.ts'
import { FILE_WORDS, figureWords, lineWords, withUnit } from './words.ts'

/** What the stages changed: dialogue first, then every stage, then all of it over time. */
export function alteration(report: DeliveryReport): Markup | null {
  if (report.deliverables.length === 0) return null
  const { dialogue, total, bands, multiband, bandLines, ride, lfe, ceiling, octaves } = report.alteration
  const sign = total.staticGainDb > 0 ? '+' : ''
  return markup`<section><h2>What was altered</h2>${beforeAndAfter(report)}
<dl>${dialogue === null ? '' : dialogueKept(dialogue)}${ride === null ? '' : heardMoves(ride)}<dt>Static gain</dt><dd>${sign}${printFigure(total.staticGainDb, 2)} <span class="unit">dB</span>, the same on every channel${stereoGain(report)}</dd>
${bands === null ? '' : lowEnd(bands)}${multiband === null ? '' : markup`<dt>Bands</dt><dd>${multibandInWords(multiband)}</dd>`}${bandLines === null ? '' : markup`<dt>Lines on bands</dt><dd>${bandLinesInWords(bandLines)}</dd>`}<dt>Ride</dt><dd>${
    ride === null
      ? 'not used'
      : markup`${withUnit(ride.movementDb, 'dB')} of movement in all${movedLines(ride.movementInDialogueDb)}, ${withUnit(ride.weightedMovementDb, 'dB')} weighted by where it lies, at most ${withUnit(ride.largestSlewDbPerSecond, 'dB/s', 2)}, moving ${withUnit(ride.movingShare * 100, '%')} of the time; ${withUnit(ride.areaUnderReductionDbSeconds, 'dB s')} under reduction`
  }</dd>${ride === null ? '' : markup`<dt>Certificate</dt><dd>${ride.statement}</dd>${forcedAt(ride.touching, report.source.startOfDaySeconds)}`}
${lfe === null ? '' : lfeRide(lfe, report.source.startOfDaySeconds)}${total.shortTermCorrelation === null || octaves === null ? '' : shapeKept(total)}<dt>Ceiling</dt><dd>${ceiling === null ? 'not used' : ceilingWork(ceiling)}${
    ceiling === null || ceiling.lfe === null || ceiling.lfe.events === 0
      ? null
      : markup`; that of the LFE ${ceilingWork(ceiling.lfe)}`
  }</dd>${ceiling === null || ceiling.groups.length === 0 ? null : limitedApart(ceiling)}${octaves === null ? '' : energyTaken(octaves)}</dl>${picture(report)}</section>`
}

/** Dialogue against its background before and after, and what other channels cost it. */
function dialogueKept(dialogue: AlteredDialogue): Markup {
  const { overBackgroundBeforeLu, overBackgroundAfterLu, medianChangeLu, largestChangeLu, byOtherChannels } = dialogue
  const signed = (value: number) => `${value > 0 ? '+' : ''}${printFigure(value, 2)}`
  const changed =
    medianChangeLu === null || largestChangeLu === null
      ? null
      : markup`; line by line ${signed(medianChangeLu)} <span class="unit">LU</span> in the middle, ${signed(largestChangeLu)} at most`
  return markup`<dt>Dialogue</dt><dd>${
    overBackgroundBeforeLu === null || overBackgroundAfterLu === null
      ? 'no line has a background to be held against'
      : markup`${withUnit(overBackgroundBeforeLu, 'LU')} over its background in the mix before, ${withUnit(overBackgroundAfterLu, 'LU')} after${changed}`
  }</dd>${
    byOtherChannels === null
      ? null
      : markup`<dt>Turned down by others</dt><dd>for the sake of other channels dialogue gave ${withUnit(byOtherChannels.rideDbSeconds, 'dB s')} to the ride and ${withUnit(byOtherChannels.ceilingDbSeconds, 'dB s')} to the ceiling</dd>`
  }
`
}

function heardMoves({ lines, hits }: NonNullable<Alteration['ride']>): Markup {
  const words = ({ count, movedCount, movedFromDb, largestDb }: HeardMoves, many: string, how: string) =>
    count === 0
      ? markup`no ${many}`
      : markup`${movedCount} of ${count} ${many} ${how} by more than ${withUnit(movedFromDb, 'dB')}, ${withUnit(largestDb, 'dB')} at most`
  return markup`<dt>Heard moves</dt><dd>${lines === null ? null : markup`${words(lines, 'lines of dialogue', 'moved inside')}; `}${words(hits, 'hits', 'announced')}</dd>
`
}

const MOST_TOUCHES = 12

function forcedAt(touching: readonly RideTouch[], startOfDaySeconds: number | null): Markup | null {
  if (touching.length === 0) return null
  const deepest = touching.toSorted((a, b) => a.rideDb - b.rideDb).slice(0, MOST_TOUCHES)
  const shown = deepest.toSorted((a, b) => a.startSeconds - b.startSeconds)
  const rest = touching.length - shown.length
  return markup`<dt>Forced at</dt><dd>${shown.map(
    (touch, index) =>
      markup`${index === 0 ? '' : '; '}${placeInWords({ ...touch, timecode: null }, startOfDaySeconds)} (${printFigure(touch.rideDb)} <span class="unit">dB</span>, ${lineWords(touch.line).name.toLowerCase()})`,
  )}${rest === 0 ? null : `; and ${rest} places with less`}</dd>`
}

function lfeRide(lfe: NonNullable<Alteration['lfe']>, startOfDaySeconds: number | null): Markup {
  return markup`<dt>Ride of the LFE</dt><dd>${withUnit(lfe.largestMoveDb, 'dB')} beside the other channels at most, ${withUnit(lfe.movementDb, 'dB')} of movement, at most ${withUnit(lfe.largestSlewDbPerSecond, 'dB/s', 2)}, moving ${withUnit(lfe.movingShare * 100, '%')} of the time; no other channel moves with it. ${lfe.statement}</dd>${forcedAt(lfe.touching, startOfDaySeconds)}
`
}

function shapeKept({ shortTermCorrelation, shortTermLargestChangeLu }: Alteration['total']): Markup {
  return markup`<dt>Shape kept</dt><dd>${printFigure(shortTermCorrelation, 3)} correlation of the short-term curves before and after (1 is a constant); ${withUnit(shortTermLargestChangeLu, 'LU')} apart at most beside the static gain</dd>
`
}

function ceilingWork({ events, deepestDb, secondsBelow01Db, secondsBelow1Db, secondsBelow3Db }: CeilingWork): Markup {
  if (events === 0) return markup`did not act`
  return markup`acted ${events} ${events === 1 ? 'time' : 'times'}, ${withUnit(deepestDb, 'dB')} at most; more than 0.1, 1 and 3 dB for ${printFigure(secondsBelow01Db)}, ${printFigure(secondsBelow1Db)} and ${withUnit(secondsBelow3Db, 's')}`
}

function limitedApart({ groups, frontResidue }: NonNullable<Alteration['ceiling']>): Markup {
  return markup`<dt>Limited apart</dt><dd>before all channels together: ${groups.map(
    ({ name, ...work }, index) => markup`${index === 0 ? '' : '; '}${name} ${ceilingWork(work)}`,
  )}</dd>${
    frontResidue === null
      ? null
      : markup`<dt>Front residue</dt><dd>what C and the surrounds lost by themselves is left in L and R, so that the fold-down stays the stereo: ${withUnit(frontResidue.besideFrontsDb, 'dB')} beside the fronts in the ${withUnit(frontResidue.seconds, 's')} in which any of it acted, peak ${withUnit(frontResidue.peakDbfs, 'dBFS')}</dd>`
  }
`
}

function energyTaken({ actingShare, removed }: NonNullable<Alteration['octaves']>): Markup {
  const heard = removed.flatMap(({ centreHz, removedDb }) => (removedDb === null ? [] : [{ centreHz, removedDb }]))
  const list = heard.map(
    ({ centreHz, removedDb }, index) =>
      markup`${index === 0 ? '' : ', '}${centreHz >= 1000 ? `${centreHz / 1000} kHz` : `${centreHz} Hz`} ${printFigure(-removedDb)}`,
  )
  return markup`<dt>Energy by octave</dt><dd>beside the static gain, in the ${withUnit(100 * actingShare, '%')} of the time in which anything acted: ${list} <span class="unit">dB</span></dd>`
}

function picture(report: DeliveryReport): Markup | null {
  const { ride, lfeRide: ofLfe, ceilingEvents, altered } = report
  if (ride === null && ofLfe === null && ceilingEvents.length === 0 && altered === null) return null
  const { width, height, drawing } = alterationDrawing(report)
  return markup`<figure class="wide"><svg viewBox="0 0 ${width} ${height}" role="img" aria-label="${alterationInWords(report)}">${drawing}</svg><figcaption>${alterationCaption(report).join(' ')}</figcaption></figure>`
}

function lowEnd(bands: NonNullable<DeliveryReport['alteration']['bands']>): Markup {
  const { crossoverHz, lowEndDeepestDb, lowEndActingShare } = bands
  return markup`<dt>Low end</dt><dd>below ${withUnit(crossoverHz, 'Hz')} turned down by ${withUnit(lowEndDeepestDb, 'dB')} at most, ${withUnit(lowEndActingShare * 100, '%')} of the time, before everything else</dd>
`
}

function multibandInWords(bands: NonNullable<Alteration['multiband']>): Markup {
  return markup`${bands.map(
    ({ name, deepestDb, actingShare }, index) =>
      markup`${index === 0 ? '' : '; '}${name} turned down by ${withUnit(deepestDb, 'dB')} at most, ${withUnit(actingShare * 100, '%')} of the time`,
  )}; by the thresholds that were set, before static gain and ride`
}

function bandLinesInWords(bands: NonNullable<Alteration['bandLines']>): Markup {
  return markup`${bands.map(
    ({ line, fromHz, toHz, deepestDb, actingShare, movementDb }, index) =>
      markup`${index === 0 ? '' : '; '}${line.replaceAll('-', ' ')}, ${rangeInWords({ fromHz, toHz })}, turned down by ${withUnit(deepestDb, 'dB')} at most, ${withUnit(actingShare * 100, '%')} of the time, ${withUnit(movementDb, 'dB')} of movement`,
  )}; as little as the lines of the spec ask for, on all channels but the LFE and on the stereo alike`
}

function movedLines(movementInDialogueDb: number | null): Markup | null {
  if (movementInDialogueDb === null) return null
  return markup` (${withUnit(movementInDialogueDb, 'dB')} inside lines of dialogue)`
}

function stereoGain({ foldDownLock }: DeliveryReport): string {
  const own = foldDownLock?.stereoGainDb ?? 0
  if (own === 0) return foldDownLock?.law === 'lt-rt' ? ' and on the Lt/Rt' : ' and on the fold-down'
  return `; the stereo file stands ${printFigure(Math.abs(own), 2)} dB ${own < 0 ? 'below' : 'above'} that`
}

function beforeAndAfter(report: DeliveryReport): Markup {
  const before = report.source.measurements
  const fields = [
    'programmeLoudnessLkfs',
    'loudnessRangeLu',
    'maxShortTermLkfs',
    'maxMomentaryLkfs',
    'maxTruePeakDbtp',
  ] as const
  const row = (field: string, of: (measurements: Measurements) => number | null) => {
    const { name, unit } = lineWords(field)
    return markup`<tr><th scope="row">${name} <span class="unit">${unit}</span></th><td class="number">${figureWords(of(before))}</td>${report.deliverables.map(({ measurements }) => markup`<td class="number">${figureWords(of(measurements))}</td>`)}</tr>`
  }
  const heard = (figure: keyof LfeFigures) =>
    report.deliverables.some(({ measurements }) => (measurements.lfe?.[figure] ?? null) !== null)
  const ofLfe = (['maxShortTermDbfs', 'overFrontsDb'] as const).filter(heard)
  const rows = [
    ...fields.map((field) => row(field, (measurements) => measurements[field])),
    ...ofLfe.map((figure) => row(`lfe.${figure}`, ({ lfe }) => lfe?.[figure] ?? null)),
  ]
  return markup`<table><thead><tr><th scope="col">Figure</th><th scope="col" class="number">Source</th>${report.deliverables.map(({ role }) => markup`<th scope="col" class="number">${FILE_WORDS[role]}</th>`)}</tr></thead><tbody>${rows}<tr><th scope="row">PLR (true peak to loudness) <span class="unit">LU</span></th><td class="number">${figureWords(peakToLoudness(before))}</td>${report.deliverables.map(({ measurements }) => markup`<td class="number">${figureWords(peakToLoudness(measurements))}</td>`)}</tr></tbody></table>`
}
