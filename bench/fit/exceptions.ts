// Lines of dialogue that the fit moves in and hits that it announces: was there a way without?
import { type DeliverySpec, defaultSettings, FIT_PARAMETERS } from '../../src/domain/index.ts'
import { moveCosts } from '../../src/engine/decide/move-costs.ts'
import type { Table } from '../table.ts'
import { askPython, type BearableSpan, loudestTotals, SLEW_DB_PER_SECOND, taskOf } from './confirm.ts'
import { linesOf } from './ears.ts'
import type { FitResult } from './lines.ts'
import type { Prepared } from './prepared.ts'

export type Exceptional = { readonly fit: FitResult; readonly programme: Prepared; readonly spec: DeliverySpec }

const IN_LINE_DB = 0.5
const BEFORE_HIT_DB = 0.3
/** A line of which the detector heard less than this was not heard. */
const HEARD_SHARE = 0.9

/**
 * All lines and the seconds before all hits, as points of a ride: those on which the gain read there depends, so that a
 * ride which keeps to them is one without exception; or those inside alone, so that none which breaks them is.
 */
function spansOf(programme: Prepared, isStrict: boolean): BearableSpan[] {
  const points = Math.floor(programme.mix10ms.length / 10)
  const placeOf = (fine: number) => (fine + 0.5) / 10 - 0.5
  const span = (first: number, end: number, mostDb: number): BearableSpan => {
    const [from, to] = [placeOf(first), placeOf(end - 1)]
    return isStrict
      ? [Math.max(0, Math.floor(from)), Math.min(points, Math.floor(to) + 2), mostDb]
      : [Math.max(0, Math.ceil(from)), Math.min(points, Math.floor(to) + 1), mostDb]
  }
  return [
    ...linesOf(programme).map(({ first, end }) => span(first, end, IN_LINE_DB)),
    ...programme.hits10ms.map((hit) => span(hit - 100, hit, BEFORE_HIT_DB)),
  ]
}

/** How many of the lines moved in the detector heard. */
function heardOf({ fit, programme }: Exceptional): string {
  const { heard } = fit
  if (!heard) return '-'
  const moved = linesOf(programme).filter(({ first, end }, index) => {
    if ((fit.movesInLines[index] ?? 0) <= IN_LINE_DB) return false
    const shares = heard.slice(first / 10, end / 10)
    return shares.reduce((sum, share) => sum + share, 0) >= HEARD_SHARE * shares.length
  })
  return String(moved.length)
}

/** How far each step of the fit's own ride may go: slow in sound, faster in pauses, fast under attacks. */
function ownSlewDb({ fit, programme }: Exceptional, points: number): Float64Array {
  const speech = !fit.heard ? null : Uint8Array.from(fit.heard, (share) => (share > 0.5 ? 1 : 0))
  return moveCosts(programme.mix10ms, speech, points, defaultSettings(FIT_PARAMETERS)).slewDb
}

export function exceptionsTable(all: readonly Exceptional[]): Table {
  const exceptional = all.filter(({ fit }) => {
    return fit.movesInLines.some((db) => db > IN_LINE_DB) || fit.movesBeforeHits.some((db) => db > BEFORE_HIT_DB)
  })
  const totals = loudestTotals(
    exceptional.map(({ programme, spec }) => taskOf(programme, spec, spansOf(programme, true))),
  )
  const bounded = exceptional.filter(({ fit }) => (fit.corridorDb?.lowest.length ?? 0) > 1)
  const fewestAt = (slewDb: (one: Exceptional, points: number) => ArrayLike<number>) => {
    const tasks = bounded.map((one) => {
      const { lowest, highest } = one.fit.corridorDb ?? { lowest: [], highest: [] }
      return { lowest, highest, spans: spansOf(one.programme, false), slewDb: Array.from(slewDb(one, lowest.length)) }
    })
    const counts = askPython<number[]>('exceptions.py', tasks)
    return (one: Exceptional) => String(counts[bounded.indexOf(one)] ?? '-')
  }
  const atAnySlew = fewestAt((_, points) => new Float64Array(points - 1).fill(SLEW_DB_PER_SECOND / 10))
  const atOwnSlew = fewestAt(ownSlewDb)
  return {
    title: 'Moved in or announced, and whether there was a way without',
    columns: [
      'spec',
      'programme',
      'lines',
      'most dB',
      'of these heard',
      'hits',
      'most dB',
      'fewest of both inside its corridor',
      'at 60 dB/s anywhere',
      'loudest total without any LKFS',
      'least total LKFS',
    ],
    rows: exceptional.map((each, index) => {
      const { fit, spec } = each
      const lines = fit.movesInLines.filter((db) => db > IN_LINE_DB)
      const hits = fit.movesBeforeHits.filter((db) => db > BEFORE_HIT_DB)
      const { targetLkfs, toleranceBelowLu } = spec.programmeLoudness
      return [
        spec.id,
        fit.programme,
        String(lines.length),
        Math.max(0, ...lines).toFixed(2),
        heardOf(each),
        String(hits.length),
        Math.max(0, ...hits).toFixed(2),
        atOwnSlew(each),
        atAnySlew(each),
        totals[index]?.loudestLkfs?.toFixed(2) ?? 'none',
        (targetLkfs - toleranceBelowLu).toFixed(1),
      ]
    }),
    notes: [],
  }
}
