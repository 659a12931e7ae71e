// Linear prediction in f64x2, eight sums at a time; each sum is taken in the order of the scalar twin.

/** Sums of products of a block with itself, 0 to `order` samples apart. `order` + 8 zeros stand before the block. */
export function predictionProducts(block: usize, count: i32, order: i32, sums: usize): void {
  for (let lag = 0; lag <= order; lag += 8) {
    let sum0 = f64x2.splat(0)
    let sum1 = f64x2.splat(0)
    let sum2 = f64x2.splat(0)
    let sum3 = f64x2.splat(0)
    for (let n = 0; n < count; n++) {
      const now = v128.load64_splat(block + ((<usize>n) << 3))
      // The lower lane is the earlier sample: the odd lag of the two.
      const earlier = block + ((<usize>(n - lag - 7)) << 3)
      sum0 = f64x2.add(sum0, f64x2.mul(now, v128.load(earlier, 48)))
      sum1 = f64x2.add(sum1, f64x2.mul(now, v128.load(earlier, 32)))
      sum2 = f64x2.add(sum2, f64x2.mul(now, v128.load(earlier, 16)))
      sum3 = f64x2.add(sum3, f64x2.mul(now, v128.load(earlier)))
    }
    const out = sums + ((<usize>lag) << 3)
    v128.store(out, i64x2.shuffle(sum0, sum0, 1, 0))
    v128.store(out, i64x2.shuffle(sum1, sum1, 1, 0), 16)
    v128.store(out, i64x2.shuffle(sum2, sum2, 1, 0), 32)
    v128.store(out, i64x2.shuffle(sum3, sum3, 1, 0), 48)
  }
}

/** What a filter of `order` + 1 taps leaves of `count` samples (rounded up to eight), from `samples` on. */
export function predictionErrors(samples: usize, count: i32, taps: usize, order: i32, errors: usize): void {
  for (let n = 0; n < count; n += 8) {
    let error0 = f64x2.splat(0)
    let error1 = f64x2.splat(0)
    let error2 = f64x2.splat(0)
    let error3 = f64x2.splat(0)
    for (let k = 0; k <= order; k++) {
      const tap = v128.load64_splat(taps + ((<usize>k) << 3))
      const from = samples + ((<usize>(n - k)) << 3)
      error0 = f64x2.add(error0, f64x2.mul(tap, v128.load(from)))
      error1 = f64x2.add(error1, f64x2.mul(tap, v128.load(from, 16)))
      error2 = f64x2.add(error2, f64x2.mul(tap, v128.load(from, 32)))
      error3 = f64x2.add(error3, f64x2.mul(tap, v128.load(from, 48)))
    }
    const out = errors + ((<usize>n) << 3)
    v128.store(out, error0)
    v128.store(out, error1, 16)
    v128.store(out, error2, 32)
    v128.store(out, error3, 48)
  }
}
