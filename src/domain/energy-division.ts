import { LAYOUTS, type LayoutName, type Role } from './layout.ts'

/** The parts that the energy of a 5.1 is told in, from the screen to the back of the room. The LFE is none of them. */
export const ENERGY_PARTS = ['centre', 'fronts', 'surrounds'] as const

export type EnergyPart = (typeof ENERGY_PARTS)[number]

const ROLES: Readonly<Record<EnergyPart, readonly Role[]>> = {
  centre: ['C'],
  fronts: ['L', 'R'],
  surrounds: ['Ls', 'Rs'],
}

/** K-weighted mean squares of each part, one value each 100 ms. */
export type EnergyDivision = Readonly<Record<EnergyPart, Float32Array>>

/** @param channels100ms K-weighted mean squares, `[hop * channelCount + channel]` */
export function energyDivision(channels100ms: ArrayLike<number>, layout: LayoutName): EnergyDivision {
  const roles = LAYOUTS[layout]
  const hopCount = channels100ms.length / roles.length
  const sumOf = (part: EnergyPart) => {
    const channels = ROLES[part].map((role) => roles.indexOf(role))
    return Float32Array.from({ length: hopCount }, (_, hop) =>
      channels.reduce((sum, channel) => sum + (channels100ms[hop * roles.length + channel] as number), 0),
    )
  }
  return { centre: sumOf('centre'), fronts: sumOf('fronts'), surrounds: sumOf('surrounds') }
}
