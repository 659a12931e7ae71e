import { kBiquads } from '../../src/dsp/meter-weighting.ts'
import { RATE } from './mixes-players.ts'

/** A signal at 48 kHz through the K-weighting. @source ITU-R BS.1770-5 Annex 1, Tables 1 and 2 */
export function kWeighted(x: Float32Array | Float64Array): Float64Array {
  const { shelf, highPass } = kBiquads(RATE)
  const shelved = biquad(Float64Array.from(x), [shelf.b0, shelf.b1, shelf.b2], [shelf.a1, shelf.a2])
  return biquad(shelved, [1, -2, 1], [highPass.a1, highPass.a2])
}

function biquad(
  x: Float64Array,
  [b0, b1, b2]: readonly [number, number, number],
  [a1, a2]: readonly [number, number],
): Float64Array {
  let z1 = 0
  let z2 = 0
  return x.map((sample) => {
    const y = b0 * sample + z1
    z1 = b1 * sample - a1 * y + z2
    z2 = b2 * sample - a2 * y
    return y
  })
}
