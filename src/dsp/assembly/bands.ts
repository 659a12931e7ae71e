// Bands in add-back form: what a band gains or loses is added to the signal, which stays itself where that is nothing.
// The door is `dsp/bands.ts`.

/** band[i] = plane[i] in single precision; a plane is float64 if `isWide`. */
export function copyToBand(plane: usize, isWide: i32, band: usize, count: i32): void {
  if (isWide === 0) {
    memory.copy(band, plane, (<usize>count) << 2)
    return
  }
  for (let i = 0; i < count; i++) {
    store<f32>(band + ((<usize>i) << 2), <f32>load<f64>(plane + ((<usize>i) << 3)))
  }
}

/**
 * plane[i] = top[i] plane[i] + the sum over `parts` of (below[i] - above[i]) low[i], rounded once; exactly plane[i] where
 * all gains are 1. A part is three addresses in `table`: a low-passed signal (float32) and the gains (float64) of the
 * band below its corner and of the band above.
 */
export function addBandsBack(plane: usize, isWide: i32, top: usize, table: usize, parts: i32, count: i32): void {
  const end = table + <usize>parts * 12
  for (let i = 0; i < count; i++) {
    const wide = (<usize>i) << 3
    const narrow = (<usize>i) << 2
    const at = plane + (isWide !== 0 ? wide : narrow)
    const x = isWide !== 0 ? load<f64>(at) : <f64>load<f32>(at)
    let y = load<f64>(top + wide) * x
    for (let part = table; part < end; part += 12) {
      const gain = load<f64>(<usize>load<u32>(part, 4) + wide) - load<f64>(<usize>load<u32>(part, 8) + wide)
      y += gain * <f64>load<f32>(<usize>load<u32>(part) + narrow)
    }
    if (isWide !== 0) store<f64>(at, y)
    else store<f32>(at, <f32>y)
  }
}

/**
 * Adds to `parts` + 1 sums (float64) the squares of the bands, lowest first: what each low-passed signal of `table` (its
 * addresses, float32, lowest corner first) has more than the one before it, and what the plane has more than the last.
 */
export function addBandSquares(plane: usize, isWide: i32, table: usize, parts: i32, count: i32, sums: usize): void {
  for (let part = 0; part <= parts; part++) {
    const isTop = part === parts
    const upper: usize = isTop ? plane : <usize>load<u32>(table + ((<usize>part) << 2))
    const lower: usize = part === 0 ? <usize>0 : <usize>load<u32>(table + ((<usize>(part - 1)) << 2))
    const upperIsWide = isTop && isWide !== 0
    let sum: f64 = 0
    for (let i = 0; i < count; i++) {
      const narrow = (<usize>i) << 2
      const high = upperIsWide ? load<f64>(upper + ((<usize>i) << 3)) : <f64>load<f32>(upper + narrow)
      const band = lower === 0 ? high : high - <f64>load<f32>(lower + narrow)
      sum += band * band
    }
    const at = sums + ((<usize>part) << 3)
    store<f64>(at, load<f64>(at) + sum)
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
