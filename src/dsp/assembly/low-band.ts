// The low end in add-back form: what a band gains or loses is added to the signal, which stays itself where that is 0.
// The door is `dsp/low-band.ts`.

/** band[i] = plane[i] in single precision; a plane is float64 if `isWide`. */
export function copyToBand(plane: usize, isWide: i32, band: usize, count: i32): void {
  for (let i = 0; i < count; i++) {
    const sample = isWide ? <f32>load<f64>(plane + ((<usize>i) << 3)) : load<f32>(plane + ((<usize>i) << 2))
    store<f32>(band + ((<usize>i) << 2), sample)
  }
}

/** plane[i] += (gain[i] - 1) x band[i], exactly plane[i] where the gain (float64) is 1. */
export function addBandBack(plane: usize, isWide: i32, band: usize, gain: usize, count: i32): void {
  for (let i = 0; i < count; i++) {
    const change = (load<f64>(gain + ((<usize>i) << 3)) - 1.0) * <f64>load<f32>(band + ((<usize>i) << 2))
    if (isWide) {
      const at = plane + ((<usize>i) << 3)
      store<f64>(at, load<f64>(at) + change)
    } else {
      const at = plane + ((<usize>i) << 2)
      store<f32>(at, <f32>(<f64>load<f32>(at) + change))
    }
  }
}

/**
 * Adds to four sums (float64), x being the plane, b its band, c the band of that: squares of x - 2 b + c, which is what
 * two high-passes would leave; squares of b; b c; squares of c.
 */
export function addBandProducts(plane: usize, isWide: i32, once: usize, twice: usize, count: i32, sums: usize): void {
  let above = load<f64>(sums)
  let squares = load<f64>(sums, 8)
  let cross = load<f64>(sums, 16)
  let squaresTwice = load<f64>(sums, 24)
  for (let i = 0; i < count; i++) {
    const x = isWide ? load<f64>(plane + ((<usize>i) << 3)) : <f64>load<f32>(plane + ((<usize>i) << 2))
    const a = <f64>load<f32>(once + ((<usize>i) << 2))
    const b = <f64>load<f32>(twice + ((<usize>i) << 2))
    const rest = x - 2.0 * a + b
    above += rest * rest
    squares += a * a
    cross += a * b
    squaresTwice += b * b
  }
  store<f64>(sums, above)
  store<f64>(sums, squares, 8)
  store<f64>(sums, cross, 16)
  store<f64>(sums, squaresTwice, 24)
}
