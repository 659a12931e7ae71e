/** The highest of many values (too many to be spread into `Math.max`); `-Infinity` of none. */
export function highestOf(values: Float64Array): number {
  let highest = Number.NEGATIVE_INFINITY
  for (const value of values) if (value > highest) highest = value
  return highest
}
