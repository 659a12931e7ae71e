import { expect, test } from 'vitest'
import { movesBeforeHits, movesInLines } from './moves-heard.ts'

test('a line is moved in by the span of the gain inside it; shorter runs are no lines', () => {
  const gainsDb = Float64Array.from({ length: 60 }, (_, k) => (k < 20 ? 0 : k < 30 ? -0.1 * (k - 20) : -1))
  const speech = Uint8Array.from({ length: 60 }, (_, k) =>
    k < 10 || (k >= 18 && k < 28) || k === 40 || k >= 50 ? 1 : 0,
  )
  const { count, movedCount, largestDb } = movesInLines(gainsDb, speech)
  // Three lines: before the move, in it (-0.7 dB by its last hop), and behind it, to the end.
  expect({ count, movedCount }).toEqual({ count: 3, movedCount: 1 })
  expect(largestDb).toBeCloseTo(0.7, 12)
})

test('a hit is announced by what moves in the second before it, read between the points', () => {
  // 1 dB down between the points of hops 20 and 25, which stand at 2.05 s and 2.55 s.
  const gainsDb = Float64Array.from({ length: 60 }, (_, k) => -Math.min(1, Math.max(0, (k - 20) / 5)))
  const moved = (hit10ms: number) => movesBeforeHits(gainsDb, [hit10ms])
  expect(moved(205).largestDb).toBe(0)
  expect(moved(215).largestDb).toBeCloseTo(0.2, 9)
  expect(moved(215).movedCount).toBe(0)
  expect(moved(255)).toMatchObject({ count: 1, movedCount: 1 })
  expect(moved(355).largestDb).toBeCloseTo(0, 12)
})
