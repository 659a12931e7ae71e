import fc from 'fast-check'
import { expect, test } from 'vitest'
import { dramaEnergies } from '../../../test/testkit/programmes.ts'
import { toHops } from '../../domain/index.ts'
import { riddenEnergies, riddenHops } from './ridden-energies.ts'

const rides = fc.array(
  fc.oneof(
    fc.constant(-3),
    fc.integer({ min: -80, max: 40 }).map((gainDb) => gainDb / 4),
  ),
  { minLength: 50, maxLength: 50 },
)

// The gain of a frame by its definition: linear in dB between hop centres, held outside them; integrated here at
// 1/20 of a fine hop. The largest step of the drawn rides, 30 dB in 100 ms, is fifteen times the fastest slew.
test('energies under a ride are the gain integrated over each fine hop', () => {
  fc.assert(
    fc.property(rides, fc.integer({ min: 1, max: 1000 }), (ride, seed) => {
      const energies = dramaEnergies(5, seed)
      const ridden = riddenEnergies(energies, Float64Array.from(ride))
      for (let i = 0; i < energies.length; i += 7) {
        let sum = 0
        for (let part = 0; part < 20; part++) {
          const position = Math.min(Math.max((i + (part + 0.5) / 20) / 10 - 0.5, 0), 49)
          const before = Math.min(Math.floor(position), 48)
          const gainDb =
            (ride[before] as number) * (before + 1 - position) + (ride[before + 1] as number) * (position - before)
          sum += 10 ** (gainDb / 10) / 20
        }
        const errorDb = 10 * Math.log10((ridden[i] as number) / (energies[i] as number) / sum)
        expect(Math.abs(errorDb)).toBeLessThan(0.1)
      }
    }),
    { numRuns: 50 },
  )
})

test('hops under a ride are the sums of their fine hops', () => {
  fc.assert(
    fc.property(rides, fc.integer({ min: 1, max: 1000 }), (ride, seed) => {
      const energies = dramaEnergies(5, seed)
      const gainsDb = Float64Array.from(ride)
      const found = riddenHops(energies, toHops(energies), gainsDb)
      const expected = toHops(riddenEnergies(energies, gainsDb))
      expect(found).toHaveLength(50)
      for (const [hop, energy] of expected.entries()) expect((found[hop] as number) / energy).toBeCloseTo(1, 12)
    }),
    { numRuns: 100 },
  )
})
