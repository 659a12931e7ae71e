import {
  FINE_HOPS_PER_SECOND,
  type FrameRange,
  jointLoudness,
  type Measured,
  powerGains,
  toHops,
} from '../../domain/index.ts'
import type { FitCorrection } from './decision.ts'

/** A stretch in fine hops, [first, end). */
export type FineRange = { readonly first: number; readonly end: number }

/** What the gains are chosen for: a signal under the mixer's trims, silent outside the stretches that count. */
export type FitSource = {
  readonly measured: Measured
  /** The stretches that count, in order; no window and no gating block reaches out of them. */
  readonly parts: readonly FineRange[]
}

/** Lays the mixer's trims on a measurement and leaves out what is no programme. */
export function fitSource(measured: Measured, { trimsDb, programme }: FitCorrection): FitSource {
  const length = measured.programme10ms.length
  const whole = [{ first: 0, end: length }]
  const parts = programme === undefined ? whole : programme.map((range) => fineRange(range, measured))
  if (trimsDb === undefined && programme === undefined) return { measured, parts }
  const gains = trimsDb === undefined ? new Float64Array(length).fill(1) : powerGains(trimsDb, length)
  const heard = (energies: Float64Array): Float64Array => {
    const kept = new Float64Array(length)
    for (const { first, end } of parts) {
      for (let i = first; i < end; i++) kept[i] = (energies[i] as number) * (gains[i] as number)
    }
    return kept
  }
  const { programme10ms, foldDown10ms } = measured
  return {
    measured: {
      ...measured,
      programme10ms: heard(programme10ms),
      foldDown10ms: foldDown10ms === null ? null : heard(foldDown10ms),
    },
    parts,
  }
}

/** The whole fine hops that lie inside a range of frames. */
function fineRange({ startFrame, endFrame }: FrameRange, { sampleRateHz, programme10ms }: Measured): FineRange {
  const fineHopFrames = sampleRateHz / FINE_HOPS_PER_SECOND
  const first = Math.min(Math.ceil(startFrame / fineHopFrames), programme10ms.length)
  return { first, end: Math.max(first, Math.min(Math.floor(endFrame / fineHopFrames), programme10ms.length)) }
}

/** Programme loudness over all parts together; null where nothing passes the gate. */
export function totalOf(energies: Float64Array, parts: readonly FineRange[]): number | null {
  return jointLoudness(parts.map(({ first, end }) => toHops(energies.subarray(first, end))))
}

/** True where there is one part and it is everything. */
export function isWhole(parts: readonly FineRange[], length: number): boolean {
  return parts.length === 1 && parts[0]?.first === 0 && parts[0].end === length
}
