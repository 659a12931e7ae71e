import { FINE_HOPS_PER_HOP, FINE_HOPS_PER_SECOND, type HeardMoves, HOPS_PER_SECOND } from '../../domain/index.ts'

/** A shorter run of speech is no line. */
const SHORTEST_LINE_HOPS = HOPS_PER_SECOND / 2

/** What a line of dialogue bears, and what the second before a hit bears. Ours; see docs/decisions/0025. */
const BEARABLE_IN_LINE_DB = 0.5
const BEARABLE_BEFORE_HIT_DB = 0.3

/** By how much the gain changes inside each line of dialogue. */
export function movesInLines(gainsDb: Float64Array, speech100ms: Uint8Array): HeardMoves {
  const moves: number[] = []
  for (let first = 0; first < gainsDb.length; first++) {
    let end = first
    while (end < gainsDb.length && speech100ms[end] === 1) end++
    if (end - first >= SHORTEST_LINE_HOPS) moves.push(spanOf(gainsDb.subarray(first, end)))
    first = Math.max(first, end)
  }
  return heard(moves, BEARABLE_IN_LINE_DB)
}

/** By how much the gain changes in the second before each hit. @param hits10ms the fine hops in which they begin */
export function movesBeforeHits(gainsDb: Float64Array, hits10ms: readonly number[]): HeardMoves {
  const gainAt = (fineHop: number) => {
    const place = Math.max(0, Math.min(gainsDb.length - 1, fineHop / FINE_HOPS_PER_HOP - 0.5))
    const point = Math.floor(place)
    const from = gainsDb[point] as number
    return from + (place - point) * ((gainsDb[point + 1] ?? from) - from)
  }
  const moves = hits10ms.map((hit) =>
    spanOf(Float64Array.from({ length: FINE_HOPS_PER_SECOND + 1 }, (_, n) => gainAt(hit - FINE_HOPS_PER_SECOND + n))),
  )
  return heard(moves, BEARABLE_BEFORE_HIT_DB)
}

function heard(moves: readonly number[], bearableDb: number): HeardMoves {
  return {
    count: moves.length,
    movedCount: moves.filter((db) => db > bearableDb).length,
    movedFromDb: bearableDb,
    largestDb: moves.reduce((a, b) => Math.max(a, b), 0),
  }
}

function spanOf(gainsDb: Float64Array): number {
  let [lowest, highest] = [Number.POSITIVE_INFINITY, Number.NEGATIVE_INFINITY]
  for (const gainDb of gainsDb) {
    lowest = Math.min(lowest, gainDb)
    highest = Math.max(highest, gainDb)
  }
  return highest - lowest
}
