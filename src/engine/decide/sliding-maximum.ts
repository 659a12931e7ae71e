/**
 * The highest value in each of `count` stretches of `values`; stretch k reaches from `firstOf(k)` up to, not
 * including, `endOf(k)`, and both only ever grow with k. `-Infinity` where a stretch is empty. Linear time: a value
 * leaves the queue for good when a later one is as high.
 */
export function slidingMaximum(
  values: Float64Array,
  count: number,
  firstOf: (k: number) => number,
  endOf: (k: number) => number,
): Float64Array {
  const highest = new Float64Array(count)
  const queue = new Int32Array(values.length)
  let head = 0
  let tail = 0
  let next = 0
  for (let k = 0; k < count; k++) {
    const end = Math.min(endOf(k), values.length)
    for (; next < end; next++) {
      const value = values[next] as number
      while (tail > head && (values[queue[tail - 1] as number] as number) <= value) tail--
      queue[tail++] = next
    }
    const first = firstOf(k)
    while (tail > head && (queue[head] as number) < first) head++
    highest[k] = tail > head ? (values[queue[head] as number] as number) : Number.NEGATIVE_INFINITY
  }
  return highest
}
