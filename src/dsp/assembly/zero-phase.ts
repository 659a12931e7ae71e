// Filters that run over a whole stretch forwards and then backwards, so that nothing is shifted in phase.
// A second-order Butterworth filter run both ways has the magnitude of a fourth-order Linkwitz-Riley filter.

const FLOAT: usize = 4

/** Below this (-400 dBFS) a filter's memory is cleared, because subnormal numbers are slow. */
const FORGOTTEN: f64 = 1e-20
const BLOCK: i32 = 64

/**
 * Filters two planes of floats in place (they may be the same plane) with the magnitude of a fourth-order
 * Linkwitz-Riley filter, without phase shift. `isHighPass` 0: low-pass. Starts and ends at rest.
 * @source bilinear transform of the second-order Butterworth filter, pre-warped at the corner
 */
export function zeroPhasePair(
  first: usize,
  second: usize,
  frameCount: i32,
  isHighPass: i32,
  cornerHz: f64,
  sampleRateHz: f64,
): void {
  const w = Math.tan((Math.PI * cornerHz) / sampleRateHz)
  const norm = 1.0 / (1.0 + Math.SQRT2 * w + w * w)
  const outer = (isHighPass !== 0 ? 1.0 : w * w) * norm
  const feedback1 = 2.0 * (w * w - 1.0) * norm
  const feedback2 = (1.0 - Math.SQRT2 * w + w * w) * norm
  const inner = isHighPass !== 0 ? -2.0 * outer : 2.0 * outer
  const b0 = f64x2.splat(outer)
  const a1 = f64x2.splat(feedback1)
  const a2 = f64x2.splat(feedback2)
  // y = b0 x + z1 is put into the two states' equations, so that a state waits for one product and one difference only.
  const toFirst = f64x2.splat(inner - feedback1 * outer)
  const toSecond = f64x2.splat(outer - feedback2 * outer)
  for (let direction = 0; direction < 2; direction++) {
    let z1 = f64x2.splat(0)
    let z2 = f64x2.splat(0)
    for (let done = 0; done < frameCount; done += BLOCK) {
      const end = min(frameCount, done + BLOCK)
      for (let i = done; i < end; i++) {
        const at = usize(direction === 0 ? i : frameCount - 1 - i) * FLOAT
        const x = f64x2.promote_low_f32x4(f32x4.replace_lane(v128.load32_zero(first + at), 1, load<f32>(second + at)))
        const y = f64x2.add(f64x2.mul(b0, x), z1)
        const next = f64x2.sub(f64x2.add(f64x2.mul(toFirst, x), z2), f64x2.mul(a1, z1))
        z2 = f64x2.sub(f64x2.mul(toSecond, x), f64x2.mul(a2, z1))
        z1 = next
        const out = f32x4.demote_f64x2_zero(y)
        store<f32>(second + at, f32x4.extract_lane(out, 1))
        store<f32>(first + at, f32x4.extract_lane(out, 0))
      }
      z1 = forget(z1)
      z2 = forget(z2)
    }
  }
}

function forget(state: v128): v128 {
  return v128.and(state, f64x2.gt(f64x2.abs(state), f64x2.splat(FORGOTTEN)))
}
