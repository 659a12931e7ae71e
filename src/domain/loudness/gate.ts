import { loudnessOf, powerOf, windowMeans } from './windows.ts'

/** @source ITU-R BS.1770-5 Annex 1: gating blocks of 400 ms that overlap by 75 % */
export const HOPS_PER_GATING_BLOCK = 4

/** @source ITU-R BS.1770-5 Annex 1, equation 5: blocks at exactly this loudness do not count */
export const ABSOLUTE_GATE_LKFS = -70

/** The relative gate lies 10 LU below the loudness of what passes the absolute gate: a tenth of its power.
 * @source ITU-R BS.1770-5 Annex 1, equation 6
 */
export const RELATIVE_GATE_POWER = 1 / 10

const ABSOLUTE_GATE_POWER = powerOf(ABSOLUTE_GATE_LKFS)

/** Mean squares of the gating blocks of a programme, from those of its 100 ms. */
export function gatingBlocks(powers100ms: Float64Array): Float64Array {
  return windowMeans(powers100ms, HOPS_PER_GATING_BLOCK)
}

/**
 * Programme loudness in LKFS from K-weighted, channel-weighted mean squares of 100 ms, with both gates.
 * Null where no whole gating block passes the absolute gate.
 * @source ITU-R BS.1770-5 Annex 1, equations 3 to 7
 */
export function gatedLoudness(powers100ms: Float64Array): number | null {
  return jointLoudness([powers100ms])
}

/**
 * Loudness of several programmes together: one pair of gates over all their gating blocks. No block reaches from one
 * programme into the next.
 */
export function jointLoudness(programmes: readonly Float64Array[]): number | null {
  const blocks = programmes.map(gatingBlocks)
  const gate = gatePower(blocks)
  return gate === null ? null : loudnessOf(meanAbove(blocks, gate) as number)
}

/** The power that a gating block must exceed to count in the programme loudness; null where none passes. */
export function gatePower(blocks: readonly Float64Array[]): number | null {
  const ungated = meanAbove(blocks, ABSOLUTE_GATE_POWER)
  return ungated === null ? null : Math.max(ABSOLUTE_GATE_POWER, ungated * RELATIVE_GATE_POWER)
}

function meanAbove(programmes: readonly Float64Array[], gate: number): number | null {
  let sum = 0
  let count = 0
  for (const blocks of programmes) {
    for (const power of blocks) {
      if (power > gate) {
        sum += power
        count += 1
      }
    }
  }
  return count === 0 ? null : sum / count
}
