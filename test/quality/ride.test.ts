import { beforeAll, expect, test } from 'vitest'
import { type DeliverySpec, defaultSettings, FIT_PARAMETERS } from '../../src/domain/index.ts'
import { chooseGains } from '../../src/engine/decide/index.ts'
import { measuredOf } from '../testkit/programmes.ts'
import { type RiddenProgramme, riddenProgramme } from '../testkit/ridden-programmes.ts'
import { limit, specOf } from '../testkit/specs.ts'

let programmes: readonly RiddenProgramme[]

beforeAll(() => {
  programmes = Array.from({ length: 6 }, (_, index) => riddenProgramme(index))
})

/** The shortest run of voice that is a line. */
const SHORTEST_LINE_HOPS = 5

type Marks = { readonly movedInLines: number[]; readonly movedBeforeHits: number[] }

/** By how much the gain changes inside each line, and in the second before each hit. */
function marksOf(gainsDb: Float64Array, { truth100ms, hits }: RiddenProgramme): Marks {
  const span = (values: readonly number[]) => Math.max(...values) - Math.min(...values)
  const movedInLines: number[] = []
  for (let first = 0; first < truth100ms.length; first++) {
    let end = first
    while (truth100ms[end] === 1) end++
    if (end - first >= SHORTEST_LINE_HOPS) movedInLines.push(span([...gainsDb.subarray(first, end)]))
    first = Math.max(first, end)
  }
  const gainAt = (fineHop: number) => {
    const point = Math.floor(fineHop / 10 - 0.5)
    const from = gainsDb[point] as number
    return from + (fineHop / 10 - 0.5 - point) * ((gainsDb[point + 1] as number) - from)
  }
  const movedBeforeHits = hits.map((hit) => span(Array.from({ length: 101 }, (_, n) => gainAt(hit - 100 + n))))
  return { movedInLines, movedBeforeHits }
}

// Facts: where the voices sound and the hits begin is known from how the programmes are made; the marks of 0.5 dB in a
// line and 0.3 dB before a hit are ours. Material: Debian's fillets-ng, asterisk, pocketsphinx and singularity sounds.
// The counts are floors: what was measured when the ride was built, where the lines leave no other way.
test.each<[string, Partial<DeliverySpec>, { lines: number; hits: number }]>([
  ['a short-term line', { maxShortTermLkfs: limit(-18) }, { lines: 0, hits: 0 }],
  [
    'a short-term and a momentary line',
    { maxShortTermLkfs: limit(-18), maxMomentaryLkfs: limit(-14) },
    { lines: 3, hits: 1 },
  ],
])('under %s the ride moves beside lines of dialogue and does not announce hits', (_, lines, most) => {
  const spec = specOf(-24, 0.5, lines)
  const all = programmes.map((programme) => {
    const { plan, feasible } = chooseGains(
      measuredOf(programme.energies10ms, null, '2.0'),
      spec,
      defaultSettings(FIT_PARAMETERS),
      { speech100ms: programme.truth100ms },
    )
    expect(feasible).toBe(true)
    expect(plan.rideDb).not.toBeNull()
    return marksOf(plan.rideDb as Float64Array, programme)
  })
  const movedInLines = all.flatMap((marks) => marks.movedInLines)
  const movedBeforeHits = all.flatMap((marks) => marks.movedBeforeHits)
  expect(movedInLines.length).toBeGreaterThan(100)
  expect(movedInLines.filter((db) => db > 0.5).length).toBeLessThanOrEqual(most.lines)
  expect(movedBeforeHits.filter((db) => db > 0.3).length).toBeLessThanOrEqual(most.hits)
})
