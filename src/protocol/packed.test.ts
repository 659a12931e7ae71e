import { expect, test } from 'vitest'
import { pack, unpack } from './packed.ts'

const plan = {
  version: 1,
  name: 'Saltmarsh Lane – ü',
  gain: { staticGainDb: -7.25, rideDb: Float64Array.of(0, -0.1, Math.PI, Number.NaN, -0), bands: null },
  gainsDb: [null, Float64Array.of(1 / 3), new Float64Array(0)],
  peaks: Int16Array.of(-32768, 32767, 0),
  shares: Float32Array.of(0.25, 0.75),
  isSpeech: Uint8Array.of(1, 0, 1),
}

test.each([false, true])('numbers in arrays arrive as they were, wherever they stand; copied: %s', (isCopied) => {
  const { buffer } = pack(plan)
  const arrived = unpack(buffer, isCopied) as typeof plan
  expect(arrived).toEqual(plan)
  expect(Object.is(arrived.gain.rideDb[4], -0)).toBe(true)
  expect(arrived.gain.rideDb.buffer === buffer).toBe(!isCopied)
})

test('an array that looks into another one is sent alone', () => {
  const whole = Float64Array.of(1, 2, 3, 4)
  const { byteLength, buffer } = pack({ part: whole.subarray(1, 3) })
  expect(unpack(buffer, false)).toEqual({ part: Float64Array.of(2, 3) })
  expect(byteLength).toBeLessThanOrEqual(64)
})
