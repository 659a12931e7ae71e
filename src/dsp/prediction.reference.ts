/** Sums of products of a block with itself, 0 to `order` samples apart. */
export function productsReference(block: Float64Array, order: number): Float64Array {
  return Float64Array.from({ length: order + 1 }, (_, lag) => {
    let sum = 0
    for (let n = lag; n < block.length; n++) sum += block[n]! * block[n - lag]!
    return sum
  })
}

/** What the filter `taps` leaves of `samples` from `from` on: taps.length - 1 samples before it are looked at. */
export function errorsReference(samples: Float64Array, from: number, count: number, taps: Float64Array): Float64Array {
  return Float64Array.from({ length: count }, (_, n) => {
    let sum = 0
    for (const [k, tap] of taps.entries()) sum += tap * samples[from + n - k]!
    return sum
  })
}
