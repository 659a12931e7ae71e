import {
  type ChannelSpectrum,
  type Fault,
  printFigure,
  printTime,
  type Roles,
  type Structure,
  type TwoTrackReport,
} from '../domain/index.ts'
import type { InspectedFile } from '../jobs/index.ts'
import { printRange, type Ruler } from './placed.ts'
import { printFindings } from './print.ts'

const SEVERITIES = ['fail', 'warn', 'note'] as const
const SEVERITY_WORDS = { fail: 'FAULT', warn: 'watch', note: 'note' } as const

/** From here on a statement is taken for a fact. */
const SURE = 0.9
const LIKELY = 0.6

/** Kinds of two tracks and of channels that no delivery can be made from as they are. */
const WRONG_TRACKS: readonly string[] = ['polarity-inverted', 'time-offset']
const WRONG_ROLES: readonly string[] = [
  'wrong-order',
  'swapped-sides',
  'swapped-front-and-surround',
  'inverted-duplicate',
  'inverted-pair',
  'full-range-lfe',
]

/** Whether something was found that would fail a delivery. */
export function hasFailed({ findings, faults, twoTrack, roles }: InspectedFile): boolean {
  return (
    [...findings, ...faults.faults].some(({ severity }) => severity === 'fail') ||
    (twoTrack?.stretches ?? []).some(({ kind, confidence }) => WRONG_TRACKS.includes(kind) && confidence >= SURE) ||
    (roles?.faults ?? []).some(({ kind, confidence }) => WRONG_ROLES.includes(kind) && confidence >= SURE)
  )
}

/** What a file really is, as a mixer reads it: what it carries, its map, its past, then what is wrong, the worst first. */
export function printInspection(file: InspectedFile): string {
  const { path, layout, bitsPerSample, sampleRateHz, durationSeconds, findings, faults } = file
  return [
    `${path}\n  ${layout}, ${bitsPerSample} bit, ${sampleRateHz / 1000} kHz, ${printTime(durationSeconds, 2)}\n`,
    printFindings(findings),
    file.twoTrack === null ? '' : printTwoTrack(file.twoTrack, file),
    file.roles === null ? '' : printRoles(file.roles),
    printStructure(file.structure, file),
    printSpectrum(file.spectrum),
    printFaults(faults.faults, file),
  ].join('')
}

function printTwoTrack(
  { kind, confidence, evidence, advice, stretches, azimuth }: TwoTrackReport,
  ruler: Ruler,
): string {
  return [
    `  the two tracks: ${words(kind)}${printSure(confidence)}\n`,
    indented(evidence),
    ...(stretches.length < 2
      ? []
      : stretches.map((stretch) => {
          const side = stretch.side === null ? '' : `, ${stretch.side}`
          return `    ${printRange(stretch, ruler)}  ${words(stretch.kind)}${side}${printSure(stretch.confidence)}\n${indented(stretch.evidence, 8)}`
        })),
    ...(azimuth === null ? [] : ['    azimuth\n', indented(azimuth.evidence, 8)]),
    indented(advice.map((sentence) => `-> ${sentence}`)),
  ].join('')
}

function printRoles({ evidence, faults, stereoOrigin }: Roles): string {
  return [
    '  the channels\n',
    indented(evidence),
    ...faults.map(
      (fault) =>
        `    ${fault.channels.join(' ')}: ${words(fault.kind)}${printSure(fault.confidence)}\n${indented([...fault.evidence, `-> ${fault.remedy}`], 8)}`,
    ),
    ...(stereoOrigin === null
      ? []
      : [`    made from a stereo mix${printSure(stereoOrigin.confidence)}\n`, indented(stereoOrigin.evidence, 8)]),
  ].join('')
}

function printStructure({ segments, frameRates, speed }: Structure, ruler: Ruler): string {
  return [
    '  what lies on it\n',
    ...segments.map(
      (segment) =>
        `    ${printRange(segment, ruler)}  ${segment.kind}${printSure(segment.confidence)}\n${indented(segment.evidence, 8)}`,
    ),
    ...frameRates.slice(0, 1).map(({ rate, evidence }) => `    ${rate} frames a second\n${indented(evidence, 8)}`),
    ...(speed === null
      ? []
      : [`    speed ${speed.name}${printSure(speed.confidence)}\n${indented(speed.evidence, 8)}`]),
  ].join('')
}

function printSpectrum(channels: readonly ChannelSpectrum[]): string {
  const lines = channels.flatMap(({ role, hum, bandLimit, hissDbfs, lineWhistle }) => [
    ...(hum === null ? [] : hum.evidence.map((sentence) => `${role}: ${sentence}`)),
    ...(bandLimit === null ? [] : bandLimit.evidence.map((sentence) => `${role}: ${sentence}`)),
    ...(hissDbfs === null ? [] : [`${role}: steady hiss of ${printFigure(hissDbfs)} dBFS, 1 to 16 kHz`]),
    ...(lineWhistle === null
      ? []
      : [
          `${role}: a whistle at ${printFigure(lineWhistle.frequencyHz, 0)} Hz, the line frequency of ${lineWhistle.system}`,
        ]),
  ])
  return lines.length === 0 ? '' : `  its past\n${indented(lines)}`
}

function printFaults(faults: readonly Fault[], ruler: Ruler): string {
  if (faults.length === 0) return '  no faults of the sound found\n'
  const worstFirst = faults.toSorted((a, b) => SEVERITIES.indexOf(a.severity) - SEVERITIES.indexOf(b.severity))
  return [
    '  faults of the sound\n',
    ...worstFirst.map(
      (fault) =>
        `    ${SEVERITY_WORDS[fault.severity].padEnd(6)} ${printRange(fault, ruler)}  ${fault.message}\n${printOthers(fault, ruler)}`,
    ),
  ].join('')
}

const MOST_PLACES = 4

/** The first places of a fault that joins several. */
function printOthers({ places, count }: Fault, ruler: Ruler): string {
  if (places.length < 2) return ''
  const shown = places.slice(0, MOST_PLACES).map((place) => `           at ${printRange(place, ruler)}\n`)
  const more = count > MOST_PLACES ? `           ${count - MOST_PLACES} more: see --json\n` : ''
  return shown.join('') + more
}

function indented(sentences: readonly string[], cells = 4): string {
  return sentences.map((sentence) => `${' '.repeat(cells)}${sentence}\n`).join('')
}

function words(kind: string): string {
  return kind.replaceAll('-', ' ')
}

/** How sure a statement is, in words; nothing where it is sure. */
function printSure(confidence: number): string {
  if (confidence >= SURE) return ''
  return ` (${confidence >= LIKELY ? 'likely' : 'perhaps'}, ${printFigure(confidence, 2)})`
}
