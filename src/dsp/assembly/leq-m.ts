// Energy of one channel behind the M-weighting (ISO 21727): three second-order sections in a row, transposed form.
// The door is `dsp/leq-m.ts`.

/** Each section has b1 b2 a1 a2 among the coefficients and two memories, all float64. */
const SECTION: i32 = 32
const MEMORY: i32 = 16
const SECTIONS: i32 = 3

/** Below this a memory is taken as silence, long before it becomes denormal (denormals are slow). */
const SILENCE: f64 = 1e-30

/** Sum of squares of `frameCount` weighted samples (float64), without the gain of the weighting. */
export function leqMEnergy(samples: usize, frameCount: i32, coefficients: usize, memories: usize): f64 {
  for (let i = 0; i < 2 * SECTIONS; i++) {
    const p = memories + (i << 3)
    if (Math.abs(load<f64>(p)) < SILENCE) store<f64>(p, 0)
  }
  let sum: f64 = 0
  const end = samples + ((<usize>frameCount) << 3)
  for (; samples < end; samples += 8) {
    let x = load<f64>(samples)
    for (let section = 0; section < SECTIONS; section++) {
      const c = coefficients + section * SECTION
      const m = memories + section * MEMORY
      const y = x + load<f64>(m)
      store<f64>(m, load<f64>(c) * x - load<f64>(c, 16) * y + load<f64>(m, 8))
      store<f64>(m, load<f64>(c, 8) * x - load<f64>(c, 24) * y, 8)
      x = y
    }
    sum += x * x
  }
  return sum
}
