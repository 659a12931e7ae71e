// K-weighting in place (ITU-R BS.1770-5 Annex 1).
// Shelf: w[n] = x - a1 w[n-1] - a2 w[n-2], y = x + g1 w[n-1] + g2 w[n-2]; the factor b0 is left to the energy.
// High-pass, with s and r the first and the second running sum of its output z: s' = y - e2 r + f s, z = s' - s,
// r' = r + s. This form keeps full precision beside a DC offset, which direct forms lose at a corner of 38 Hz.
// A recursion waits for its own result, so two pairs share a loop; coefficients stay in memory, for there are not
// enough registers for them.
import { LANES, MeterPlan, MOST_PAIRS, PAIR, STATE, STATES } from './meter-plan'

const G1: usize = 0
const G2: usize = 16
const A1: usize = 32
const A2: usize = 48
const E2: usize = 64
const F: usize = 80

/** Below this a filter's memory is taken as silence, long before it becomes denormal (denormals are slow). */
const SILENCE: f64 = 1e-30

export function weigh(plan: MeterPlan, address: usize, frames: i32): void {
  const lanes = address + LANES
  const states = address + STATES
  const stride = plan.laneBytes
  let pair = 0
  for (; pair + 2 <= plan.channelPairs; pair += 2) {
    weighTwoPairs(lanes + pair * PAIR, stride, frames, states + pair * STATE, plan.coefficients)
  }
  if (pair < plan.channelPairs) {
    weighPair(lanes + pair * PAIR, stride, frames, states + pair * STATE, plan.coefficients)
  }
}

/** Filter memory below `SILENCE` becomes 0. A filter rings down far slower than from there to a denormal in 10 ms. */
export function silenceFilters(states: usize): void {
  const silence = f64x2.splat(SILENCE)
  for (let p = states; p < states + MOST_PAIRS * STATE; p += PAIR) {
    const value = v128.load(p)
    v128.store(p, v128.and(value, f64x2.gt(f64x2.abs(value), silence)))
  }
}

function weighPair(p: usize, stride: i32, frames: i32, state: usize, c: usize): void {
  let w1 = v128.load(state)
  let w2 = v128.load(state, 16)
  let s = v128.load(state, 32)
  let r = v128.load(state, 48)
  const end = p + frames * stride
  for (; p < end; p += stride) {
    const x = v128.load(p)
    const y = f64x2.add(f64x2.add(x, f64x2.mul(w2, v128.load(c, G2))), f64x2.mul(w1, v128.load(c, G1)))
    const w = f64x2.sub(f64x2.sub(x, f64x2.mul(w2, v128.load(c, A2))), f64x2.mul(w1, v128.load(c, A1)))
    const next = f64x2.add(f64x2.sub(y, f64x2.mul(r, v128.load(c, E2))), f64x2.mul(s, v128.load(c, F)))
    v128.store(p, f64x2.sub(next, s))
    r = f64x2.add(r, s)
    s = next
    w2 = w1
    w1 = w
  }
  v128.store(state, w1)
  v128.store(state, w2, 16)
  v128.store(state, s, 32)
  v128.store(state, r, 48)
}

/** The same for two pairs side by side: `w1 … r` of the first, `v1 … q` of the second. */
function weighTwoPairs(p: usize, stride: i32, frames: i32, state: usize, c: usize): void {
  let w1 = v128.load(state)
  let w2 = v128.load(state, 16)
  let s = v128.load(state, 32)
  let r = v128.load(state, 48)
  let v1 = v128.load(state, 64)
  let v2 = v128.load(state, 80)
  let t = v128.load(state, 96)
  let q = v128.load(state, 112)
  const end = p + frames * stride
  for (; p < end; p += stride) {
    const x = v128.load(p)
    const y = f64x2.add(f64x2.add(x, f64x2.mul(w2, v128.load(c, G2))), f64x2.mul(w1, v128.load(c, G1)))
    const w = f64x2.sub(f64x2.sub(x, f64x2.mul(w2, v128.load(c, A2))), f64x2.mul(w1, v128.load(c, A1)))
    const nextS = f64x2.add(f64x2.sub(y, f64x2.mul(r, v128.load(c, E2))), f64x2.mul(s, v128.load(c, F)))
    v128.store(p, f64x2.sub(nextS, s))
    r = f64x2.add(r, s)
    s = nextS
    w2 = w1
    w1 = w
    const a = v128.load(p, PAIR)
    const b = f64x2.add(f64x2.add(a, f64x2.mul(v2, v128.load(c, G2))), f64x2.mul(v1, v128.load(c, G1)))
    const v = f64x2.sub(f64x2.sub(a, f64x2.mul(v2, v128.load(c, A2))), f64x2.mul(v1, v128.load(c, A1)))
    const nextT = f64x2.add(f64x2.sub(b, f64x2.mul(q, v128.load(c, E2))), f64x2.mul(t, v128.load(c, F)))
    v128.store(p, f64x2.sub(nextT, t), PAIR)
    q = f64x2.add(q, t)
    t = nextT
    v2 = v1
    v1 = v
  }
  v128.store(state, w1)
  v128.store(state, w2, 16)
  v128.store(state, s, 32)
  v128.store(state, r, 48)
  v128.store(state, v1, 64)
  v128.store(state, v2, 80)
  v128.store(state, t, 96)
  v128.store(state, q, 112)
}
