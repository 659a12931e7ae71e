export function median(values: readonly number[]): number {
  const sorted = values.toSorted((a, b) => a - b)
  const middle = sorted.length >> 1
  return sorted.length % 2 === 1 ? sorted[middle]! : ((sorted[middle - 1] ?? Number.NaN) + sorted[middle]!) / 2
}

/** Rounded to so many digits behind the point, and never -0. */
export function rounded(value: number, digits: number): number {
  const scale = Number(`1e${digits}`)
  return Math.round(value * scale) / scale + 0
}
