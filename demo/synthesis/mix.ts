import { framesOf, gainOf } from './signal.ts'

/** How loud a signal stands in each channel, in dB; channels that are not named get nothing. */
export type Placement<Role extends string> = Partial<Record<Role, number>>

/** A programme under construction: one signal a channel, all of the same length. */
export type Mix<Role extends string> = {
  readonly channels: Readonly<Record<Role, Float32Array>>
  add(signal: Float32Array, atSeconds: number, placement: Placement<Role>): void
}

export function createMix<Role extends string>(roles: readonly Role[], durationSeconds: number): Mix<Role> {
  const frameCount = framesOf(durationSeconds)
  const channels = Object.fromEntries(roles.map((role) => [role, new Float32Array(frameCount)])) as Record<
    Role,
    Float32Array
  >
  return {
    channels,
    add(signal, atSeconds, placement) {
      const start = framesOf(atSeconds)
      const count = Math.min(signal.length, frameCount - start)
      for (const [role, levelDb] of Object.entries(placement) as [Role, number][]) {
        const channel = channels[role]
        const gain = gainOf(levelDb)
        for (let f = Math.max(0, -start); f < count; f++) channel[start + f] = channel[start + f] + gain * signal[f]
      }
    },
  }
}

/** Places a signal between left and right with constant power: -1 is left, 0 the middle (-3 dB each), 1 is right. */
export function panned(position: number, levelDb: number): { L: number; R: number } {
  const angle = ((position + 1) * Math.PI) / 4
  return { L: levelDb + decibels(Math.cos(angle)), R: levelDb + decibels(Math.sin(angle)) }
}

function decibels(gain: number): number {
  return gain > 1e-6 ? 20 * Math.log10(gain) : -120
}
