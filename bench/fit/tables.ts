import { median, type Table } from '../table.ts'
import type { FitResult } from './lines.ts'

function bySpec(results: readonly FitResult[]): [string, FitResult[]][] {
  const names = [...new Set(results.map(({ spec }) => spec))]
  return names.map((name) => [name, results.filter(({ spec }) => spec === name)])
}

const share = (count: number, all: number) => `${count} / ${all}`

/** How many programmes meet every line of a spec, by the fit's own word and by other meters. */
export function linesTable(results: readonly FitResult[]): Table {
  const rows = bySpec(results).map(([spec, all]) => {
    const conforming = all.filter(({ conforms }) => conforms)
    const totals = conforming.filter(({ isDialogueAnchored }) => !isDialogueAnchored)
    const renders = [1, 2, 3].map((passes) => all.filter((each) => each.passes === passes).length)
    return [
      spec,
      share(conforming.length, all.length),
      share(conforming.filter(({ missed }) => missed.length === 0).length, conforming.length),
      Math.max(0, ...conforming.map(({ offTargetLu }) => Math.abs(offTargetLu))).toFixed(3),
      share(totals.filter(({ offTargetLu }) => Math.abs(offTargetLu) <= 0.05).length, totals.length),
      renders.join(' / '),
    ]
  })
  return {
    title: 'Every line of the spec, read from the files by FFmpeg and libebur128',
    columns: [
      'spec',
      'conforming',
      'of these, outside meters agree',
      'farthest off LU',
      'total within 0.05',
      'renders 1/2/3',
    ],
    rows,
    notes: [],
  }
}

/** What does not conform, and what an outside meter found missed. */
export function missedTable(results: readonly FitResult[]): Table {
  const missing = results.filter(({ conforms, missed }) => !conforms || missed.length > 0)
  return {
    title: 'Not conforming, or found missed by an outside meter',
    columns: ['spec', 'programme', 'renders', 'off LU', 'outside meters', 'the report says'],
    rows: missing.map(({ spec, programme, passes, offTargetLu, missed, failures }) => [
      spec,
      programme,
      String(passes),
      offTargetLu.toFixed(2),
      missed.join('; ') || '-',
      failures.join(' | ').slice(0, 300) || 'conforms',
    ]),
    notes: [],
  }
}

/** Dialogue against background, moves in lines and before hits; counted over all programmes of a spec. */
export function earsTable(results: readonly FitResult[]): Table {
  const rows = bySpec(results).map(([spec, all]) => {
    const changes = all.flatMap(({ dialogueChanges }) => dialogueChanges.map(Math.abs))
    const lines = all.flatMap(({ movesInLines }) => movesInLines)
    const hits = all.flatMap(({ movesBeforeHits }) => movesBeforeHits)
    return [
      spec,
      changes.length === 0 ? '-' : median(changes).toFixed(3),
      share(changes.filter((db) => db > 0.5).length, changes.length),
      share(lines.filter((db) => db > 0.5).length, lines.length),
      Math.max(0, ...lines).toFixed(2),
      share(hits.filter((db) => db > 0.3).length, hits.length),
      Math.max(0, ...hits).toFixed(2),
    ]
  })
  return {
    title: 'Ears',
    columns: [
      'spec',
      'dialogue against background, median LU',
      'above 0.5 LU',
      'lines moved by more than 0.5 dB',
      'most dB',
      'hits with more than 0.3 dB before',
      'most dB',
    ],
    rows,
    notes: [],
  }
}
