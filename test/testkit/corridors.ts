import fc from 'fast-check'

export type Walls = { readonly lower: Float64Array; readonly upper: Float64Array }

/** Corridors of 1 to `maxPoints` points: rough, wandering, of whole dB (many ties), and with places of no width. */
export function corridors(maxPoints: number): fc.Arbitrary<Walls> {
  const level = fc.oneof(
    fc.double({ min: -12, max: 12, noNaN: true }),
    fc.integer({ min: -4, max: 4 }),
    fc.integer({ min: -49152, max: 49152 }).map((steps) => steps / 4096),
  )
  const width = fc.oneof(fc.constant(0), fc.double({ min: 0, max: 6, noNaN: true }), fc.integer({ min: 0, max: 3 }))
  const points = fc.array(fc.tuple(level, width), { minLength: 1, maxLength: maxPoints })
  return fc.tuple(points, fc.boolean()).map(([pairs, isWandering]) => {
    let base = 0
    const lower = Float64Array.from(pairs, ([value]) => {
      base = isWandering ? base + value / 4 : value
      return base
    })
    return { lower, upper: lower.map((value, k) => value + (pairs[k] as [number, number])[1]) }
  })
}
