import { type Fault, printFigure, printTime, type Structure } from '../domain/index.ts'
import type { InspectedFile } from '../jobs/index.ts'
import { printRange, type Ruler } from './placed.ts'
import { printFindings } from './print.ts'

const SEVERITIES = ['fail', 'warn', 'note'] as const
const SEVERITY_WORDS = { fail: 'FAULT', warn: 'watch', note: 'note' } as const

/** Whether something was found that would fail a delivery. */
export function hasFailed({ findings, faults }: InspectedFile): boolean {
  return [...findings, ...faults.faults].some(({ severity }) => severity === 'fail')
}

/** What a file really is, as a mixer reads it: the map first, then what is wrong, the worst first. */
export function printInspection(file: InspectedFile): string {
  const { path, layout, bitsPerSample, sampleRateHz, durationSeconds, findings, structure, faults } = file
  return [
    `${path}\n  ${layout}, ${bitsPerSample} bit, ${sampleRateHz / 1000} kHz, ${printTime(durationSeconds, 2)}\n`,
    printFindings(findings),
    printStructure(structure, file),
    printFaults(faults.faults, file),
  ].join('')
}

function printStructure({ segments, frameRates, speed }: Structure, ruler: Ruler): string {
  return [
    '  what lies on it\n',
    ...segments.map(
      (segment) =>
        `    ${printRange(segment, ruler)}  ${segment.kind}${printSure(segment.confidence)}\n${printEvidence(segment.evidence)}`,
    ),
    ...frameRates.slice(0, 1).map(({ rate, evidence }) => `    ${rate} frames a second\n${printEvidence(evidence)}`),
    ...(speed === null
      ? []
      : [`    speed ${speed.name}${printSure(speed.confidence)}\n${printEvidence(speed.evidence)}`]),
  ].join('')
}

function printFaults(faults: readonly Fault[], ruler: Ruler): string {
  if (faults.length === 0) return '  no faults found\n'
  const worstFirst = faults.toSorted((a, b) => SEVERITIES.indexOf(a.severity) - SEVERITIES.indexOf(b.severity))
  return [
    '  faults\n',
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

function printEvidence(evidence: readonly string[]): string {
  return evidence.map((sentence) => `        ${sentence}\n`).join('')
}

/** How sure a statement is, in words. */
function printSure(confidence: number): string {
  return confidence >= 0.9 ? '' : ` (${confidence >= 0.6 ? 'likely' : 'perhaps'}, ${printFigure(confidence, 2)})`
}
