import type { LoudnessCurve } from '../../domain/index.ts'

/** Pearson's correlation of two curves, over the places where both have a value; null where one of them is level. */
export function correlation(some: LoudnessCurve, other: LoudnessCurve): number | null {
  const count = Math.min(some.lkfs.length, other.lkfs.length)
  const pairs: (readonly [number, number])[] = []
  for (let index = 0; index < count; index++) {
    const pair = [some.lkfs[index] as number, other.lkfs[index] as number] as const
    if (Number.isFinite(pair[0]) && Number.isFinite(pair[1])) pairs.push(pair)
  }
  const meanOf = (side: 0 | 1) => pairs.reduce((sum, pair) => sum + pair[side], 0) / pairs.length
  const means = [meanOf(0), meanOf(1)] as const
  let squaresOfSome = 0
  let squaresOfOther = 0
  let products = 0
  for (const [a, b] of pairs) {
    const [fromSome, fromOther] = [a - means[0], b - means[1]]
    squaresOfSome += fromSome * fromSome
    squaresOfOther += fromOther * fromOther
    products += fromSome * fromOther
  }
  const scale = Math.sqrt(squaresOfSome * squaresOfOther)
  return scale > 0 ? products / scale : null
}
