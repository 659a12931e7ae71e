// What a gain over time does to ears, from its values in 10 ms, and from the energies of the stems.
import type { Prepared } from './prepared.ts'

const HOPS_PER_SECOND = 100
/** The shortest run of voice that is a line. */
const SHORTEST_LINE_100MS = 5
const AROUND_LINE_HOPS = 3 * HOPS_PER_SECOND

export type Span = { readonly first: number; readonly end: number }

/** Lines of dialogue in 10 ms, [first, end). */
export function linesOf({ truth100ms }: Pick<Prepared, 'truth100ms'>): Span[] {
  const lines: Span[] = []
  for (let first = 0; first < truth100ms.length; first++) {
    let end = first
    while (truth100ms[end] === 1) end++
    if (end - first >= SHORTEST_LINE_100MS) lines.push({ first: first * 10, end: end * 10 })
    first = Math.max(first, end)
  }
  return lines
}

export function spanDb(gainDb: Float64Array, { first, end }: Span): number {
  let [low, high] = [Number.POSITIVE_INFINITY, Number.NEGATIVE_INFINITY]
  for (let i = Math.max(0, first); i < Math.min(end, gainDb.length); i++) {
    low = Math.min(low, gainDb[i]!)
    high = Math.max(high, gainDb[i]!)
  }
  return Math.max(0, high - low)
}

/** Spans in dB inside every line, and over the second before every hit. */
export function movesOf(gainDb: Float64Array, programme: Prepared): { inLines: number[]; beforeHits: number[] } {
  return {
    inLines: linesOf(programme).map((line) => spanDb(gainDb, line)),
    beforeHits: programme.hits10ms.map((hit) => spanDb(gainDb, { first: hit - HOPS_PER_SECOND, end: hit })),
  }
}

/**
 * For every line, by how much its level changes against the background within 3 s of it, in LU: the gain that the line
 * gets, less the gain that the background around it gets, both weighted by energy.
 */
export function dialogueAgainstBackground(gainDb: Float64Array, programme: Prepared): number[] {
  const { dialogue10ms, background10ms } = programme
  return linesOf(programme).map(({ first, end }) => {
    const line = changeDb(dialogue10ms, gainDb, { first, end })
    return line - changeDb(background10ms, gainDb, { first: first - AROUND_LINE_HOPS, end: end + AROUND_LINE_HOPS })
  })
}

/** Level of a stem over a stretch under the gain, less its level without it. */
function changeDb(energies: Float64Array, gainDb: Float64Array, { first, end }: Span): number {
  let [before, after] = [1e-15, 1e-15]
  for (let i = Math.max(0, first); i < Math.min(end, energies.length, gainDb.length); i++) {
    before += energies[i]!
    after += energies[i]! * 10 ** (gainDb[i]! / 10)
  }
  return 10 * Math.log10(after / before)
}

/** The gain that a file got, from its energies before and after in 10 ms; held through silence. */
export function gainBetween(before10ms: Float64Array, after10ms: Float64Array): Float64Array {
  const gainDb = new Float64Array(Math.min(before10ms.length, after10ms.length))
  let held = 0
  for (let i = 0; i < gainDb.length; i++) {
    if (before10ms[i]! > SILENT && after10ms[i]! > SILENT) held = 10 * Math.log10(after10ms[i]! / before10ms[i]!)
    gainDb[i] = held
  }
  return gainDb
}

/** -100 LKFS: below, the words of 24 bits say too little of a gain. */
const SILENT = 1e-10
