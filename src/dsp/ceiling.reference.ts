/** A windowed sinc as it is written in books: value at `position` (frames, not whole) of a signal that is 0 outside. */
export function interpolated(
  signal: ArrayLike<number>,
  position: number,
  tapsPerSide: number,
  window: (inside: number) => number,
  isNormalised: boolean,
): number {
  const before = Math.floor(position)
  let sum = 0
  let taps = 0
  for (let k = before - tapsPerSide + 1; k <= before + tapsPerSide; k++) {
    const distance = position - k
    const tap = (window(distance / tapsPerSide) * Math.sin(Math.PI * distance)) / (Math.PI * distance)
    taps += tap
    sum += tap * (signal[k] ?? 0)
  }
  return isNormalised ? sum / taps : sum
}

export function kaiserWindow(beta: number): (inside: number) => number {
  const bessel = (x: number) => {
    let sum = 0
    for (let n = 0, term = 1; n < 60; n++, term *= (x / (2 * n)) ** 2) sum += term
    return sum
  }
  return (inside) => bessel(beta * Math.sqrt(1 - inside ** 2)) / bessel(beta)
}

export function hannWindow(inside: number): number {
  return 0.5 + 0.5 * Math.cos(Math.PI * inside)
}

const UNITY = 2 ** 30

/** The gain curve of the ceiling by its definition, from what each frame requires in units of 2^-30. */
export function shapedGain(
  required: ArrayLike<number>,
  shape: {
    readonly reach: number
    readonly hold: number
    readonly rise: number
    readonly boxes: readonly number[]
  },
): Float64Array {
  const { reach, hold, rise, boxes } = shape
  const count = required.length
  const asked = (frame: number) => (frame >= 0 && frame < count ? (required[frame] as number) : UNITY)
  // Index i of these arrays is frame i - reach.
  let curve = new Float64Array(count + 2 * reach)
  let held = UNITY
  for (let i = 0; i < curve.length; i++) {
    const frame = i - reach
    let lowest = UNITY
    for (let k = frame - reach - hold; k <= frame + reach; k++) lowest = Math.min(lowest, asked(k))
    held = Math.min(lowest, held * rise)
    curve[i] = Math.trunc(held)
  }
  let atRest = UNITY
  for (const box of boxes) {
    const before = curve
    const restBefore = atRest
    curve = before.map((_, i) => {
      let sum = 0
      for (let k = i - box + 1; k <= i; k++) sum += before[k] ?? restBefore
      return sum
    })
    atRest *= box
  }
  return Float64Array.from({ length: count }, (_, frame) => (curve[frame + 2 * reach] as number) / atRest)
}
