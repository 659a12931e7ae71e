import { ENERGY_PARTS, type EnergyDivision } from '../../domain/index.ts'

/** How the energy of some 100 ms, [first, end), is divided, in the order of the parts, 0..1; null where nothing sounds. */
export function sharesOf(energy: EnergyDivision, first: number, end: number): readonly number[] | null {
  const powers = ENERGY_PARTS.map((part) => {
    const series = energy[part]
    let sum = 0
    for (let hop = Math.max(0, first); hop < end && hop < series.length; hop++) sum += series[hop]!
    return sum
  })
  const all = powers.reduce((sum, power) => sum + power, 0)
  return all > 0 ? powers.map((power) => power / all) : null
}
