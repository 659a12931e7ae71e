// What happens to the surrounds and the LFE in time.

const FLOAT: usize = 4
const DOUBLE: usize = 8
const VECTOR: usize = 16

/** Writes gain (l + r) as floats. */
export function upmixMonoSum(left: usize, right: usize, out: usize, frameCount: i32, gain: f64): void {
  for (let i = 0; i < frameCount; i++) {
    const at = usize(i) * DOUBLE
    store<f32>(out + usize(i) * FLOAT, f32(gain * (load<f64>(left + at) + load<f64>(right + at))))
  }
}

/**
 * Filters a plane of floats by a few taps: out[n] = sum of gain x in[n - offset], zero before the first frame.
 * `offsets` are i32 (0 or more, rising), `gains` floats.
 */
export function upmixSparseFilter(
  input: usize,
  out: usize,
  frameCount: i32,
  offsets: usize,
  gains: usize,
  tapCount: i32,
): void {
  const reach = min(frameCount, load<i32>(offsets + usize(tapCount - 1) * FLOAT))
  for (let n = 0; n < reach; n++) store<f32>(out + usize(n) * FLOAT, sparseSum(input, n, offsets, gains, tapCount))
  let n = reach
  for (; n + 8 <= frameCount; n += 8) {
    let a = f32x4.splat(0)
    let b = f32x4.splat(0)
    for (let tap = 0; tap < tapCount; tap++) {
      const from = input + usize(n - load<i32>(offsets + usize(tap) * FLOAT)) * FLOAT
      const gain = v128.load32_splat(gains + usize(tap) * FLOAT)
      a = f32x4.add(a, f32x4.mul(gain, v128.load(from)))
      b = f32x4.add(b, f32x4.mul(gain, v128.load(from, VECTOR)))
    }
    v128.store(out + usize(n) * FLOAT, a)
    v128.store(out + usize(n) * FLOAT, b, VECTOR)
  }
  for (; n < frameCount; n++) store<f32>(out + usize(n) * FLOAT, sparseSum(input, n, offsets, gains, tapCount))
}

function sparseSum(input: usize, n: i32, offsets: usize, gains: usize, tapCount: i32): f32 {
  let sum: f32 = 0
  for (let tap = 0; tap < tapCount; tap++) {
    const from = n - load<i32>(offsets + usize(tap) * FLOAT)
    if (from >= 0) sum += load<f32>(gains + usize(tap) * FLOAT) * load<f32>(input + usize(from) * FLOAT)
  }
  return sum
}
