import type { BandLine } from './spec.ts'

/** Where the band of a line ends, lowest first, and which of the bands between these corners it is. */
export function cornersOf({ fromHz, toHz }: Pick<BandLine, 'fromHz' | 'toHz'>): {
  readonly crossoversHz: readonly number[]
  readonly band: number
} {
  const crossoversHz = [fromHz, toHz].filter((hz) => hz !== null)
  return { crossoversHz, band: fromHz === null ? 0 : 1 }
}
