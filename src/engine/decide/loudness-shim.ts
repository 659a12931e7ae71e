import { dbToPower, powerToDb } from '../../domain/index.ts'

export function loudnessOfEnergy(e: number): number {
  return -0.691 + powerToDb(e)
}

export function windowEnergies(fine: Float64Array, length: number): Float64Array {
  const out = new Float64Array(Math.max(0, fine.length - length + 1))
  const sums = new Float64Array(fine.length + 1)
  for (let i = 0; i < fine.length; i++) sums[i + 1] = sums[i]! + fine[i]!
  for (let i = 0; i < out.length; i++) out[i] = (sums[i + length]! - sums[i]!) / length
  return out
}

export function hopEnergies(fine: Float64Array): Float64Array {
  const out = new Float64Array(Math.floor(fine.length / 10))
  for (let k = 0; k < out.length; k++) {
    let s = 0
    for (let i = 0; i < 10; i++) s += fine[10 * k + i]!
    out[k] = s / 10
  }
  return out
}

export function gatedLoudness(hops: Float64Array): number | null {
  const abs = dbToPower(-70 + 0.691)
  const windows = windowEnergies(hops, 4)
  const mean = (min: number) => {
    let s = 0
    let n = 0
    for (const w of windows)
      if (w > min) {
        s += w
        n++
      }
    return n === 0 ? null : s / n
  }
  const first = mean(abs)
  if (first === null) return null
  return loudnessOfEnergy(mean(Math.max(abs, first / 10))!)
}

/** 1 where a gating block counts. */
export function gatingBlocks(hops: Float64Array): Uint8Array {
  const windows = windowEnergies(hops, 4)
  const abs = dbToPower(-70 + 0.691)
  let s = 0
  let n = 0
  for (const w of windows)
    if (w > abs) {
      s += w
      n++
    }
  const gate = Math.max(abs, s / Math.max(n, 1) / 10)
  return Uint8Array.from(windows, (w) => (w > gate ? 1 : 0))
}
