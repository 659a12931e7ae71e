import {
  FINE_HOPS_PER_HOP,
  FINE_HOPS_PER_SECOND,
  type FrameRange,
  jointLoudness,
  loudnessOf,
  type Measured,
  markedPower,
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
  /** 1 on the hops of dialogue inside the parts, where that is held against the target; null: the gated total is. */
  readonly dialogue100ms: Uint8Array | null
}

/** Lays the mixer's trims on a measurement and leaves out what is no programme. */
export function fitSource(measured: Measured, { trimsDb, programme, dialogue100ms }: FitCorrection): FitSource {
  const length = measured.programme10ms.length
  const whole = [{ first: 0, end: length }]
  const parts = programme === undefined ? whole : programme.map((range) => fineRange(range, measured))
  const dialogue = dialogue100ms === undefined ? null : insideOf(parts, dialogue100ms)
  if (trimsDb === undefined && programme === undefined) return { measured, parts, dialogue100ms: dialogue }
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
    dialogue100ms: dialogue,
  }
}

/** The marked hops that lie wholly inside one of the parts. */
function insideOf(parts: readonly FineRange[], isMarked100ms: Uint8Array): Uint8Array {
  return isMarked100ms.map((isMarked, hop) => {
    const [first, end] = [hop * FINE_HOPS_PER_HOP, (hop + 1) * FINE_HOPS_PER_HOP]
    return parts.some((part) => part.first <= first && end <= part.end) ? isMarked : 0
  })
}

/** The whole fine hops that lie inside a range of frames. */
function fineRange({ startFrame, endFrame }: FrameRange, { sampleRateHz, programme10ms }: Measured): FineRange {
  const fineHopFrames = sampleRateHz / FINE_HOPS_PER_SECOND
  const first = Math.min(Math.ceil(startFrame / fineHopFrames), programme10ms.length)
  return { first, end: Math.max(first, Math.min(Math.floor(endFrame / fineHopFrames), programme10ms.length)) }
}

/** What is held against the target; null where nothing passes the gate, or nothing of the dialogue is heard. */
export function anchorOf(energies: Float64Array, { parts, dialogue100ms }: Omit<FitSource, 'measured'>): number | null {
  if (dialogue100ms !== null) return loudnessOfMarked(toHops(energies), dialogue100ms)
  return jointLoudness(parts.map(({ first, end }) => toHops(energies.subarray(first, end))))
}

/** True where there is one part and it is everything. */
export function isWhole(parts: readonly FineRange[], length: number): boolean {
  return parts.length === 1 && parts[0]?.first === 0 && parts[0].end === length
}

/** Loudness of the hops that are marked. */
export function loudnessOfMarked(hops: Float64Array, isMarked: Uint8Array): number | null {
  const power = markedPower(hops, isMarked)
  return power === null ? null : loudnessOf(power)
}
