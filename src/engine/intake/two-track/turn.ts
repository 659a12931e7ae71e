const TURN = 2 * Math.PI
/** Terms of the series: for half a turn the last one is below 1e-17. */
const TERMS = 14

/**
 * Cosine and sine of an angle in radians from + - * / alone, so that evidence is the same on every engine.
 * Within 1e-14 for a few turns.
 */
export function turnBy(radians: number): { readonly re: number; readonly im: number } {
  const x = radians - TURN * Math.round(radians / TURN)
  const xx = x * x
  let re = 1
  let im = 1
  for (let n = TERMS; n >= 1; n--) {
    re = 1 - (re * xx) / ((2 * n - 1) * (2 * n))
    im = 1 - (im * xx) / (2 * n * (2 * n + 1))
  }
  return { re, im: im * x }
}

const windows = new Map<number, Float32Array>()

/** A periodic Hann window, made once for each length. */
export function hannWindow(length: number): Float32Array {
  const known = windows.get(length)
  if (known !== undefined) return known
  const window = Float32Array.from({ length }, (_, index) => 0.5 - 0.5 * turnBy((TURN * index) / length).re)
  windows.set(length, window)
  return window
}
