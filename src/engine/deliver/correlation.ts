import type { LoudnessCurve } from '../../domain/index.ts'

/** Pearson's correlation of two curves, over the places where both have a value; null where one of them is level. */
export function correlation(some: LoudnessCurve, other: LoudnessCurve): number | null {
  const count = Math.min(some.lkfs.length, other.lkfs.length)
  const hasBoth = (index: number) => Number.isFinite(some.lkfs[index]) && Number.isFinite(other.lkfs[index])
  let pairs = 0
  let sumOfSome = 0
  let sumOfOther = 0
  for (let index = 0; index < count; index++) {
    if (!hasBoth(index)) continue
    pairs++
    sumOfSome += some.lkfs[index] as number
    sumOfOther += other.lkfs[index] as number
  }
  let squaresOfSome = 0
  let squaresOfOther = 0
  let products = 0
  for (let index = 0; index < count; index++) {
    if (!hasBoth(index)) continue
    const fromSome = (some.lkfs[index] as number) - sumOfSome / pairs
    const fromOther = (other.lkfs[index] as number) - sumOfOther / pairs
    squaresOfSome += fromSome * fromSome
    squaresOfOther += fromOther * fromOther
    products += fromSome * fromOther
  }
  const scale = Math.sqrt(squaresOfSome * squaresOfOther)
  return scale > 0 ? products / scale : null
}

/** Largest distance of two curves once `gainDb` is added to the first, where both have a value; null where none has. */
export function largestDistance(before: LoudnessCurve, after: LoudnessCurve, gainDb: number): number | null {
  let largest: number | null = null
  for (let index = 0; index < Math.min(before.lkfs.length, after.lkfs.length); index++) {
    const distance = Math.abs((after.lkfs[index] as number) - (before.lkfs[index] as number) - gainDb)
    if (Number.isFinite(distance)) largest = Math.max(largest ?? 0, distance)
  }
  return largest
}
