/**
 * Powers and logarithms from + - * / alone, so that a plan is the same on every machine and engine
 * (`Math.pow`, `Math.log` and relatives may differ in the last bit between engines; lint bans them here).
 * Accuracy: exp2 within 2 ulp for |x| <= 1000, log2 within 2e-16 + 2 ulp; see the test.
 */

const LN2 = 0.6931471805599453
const LOG2_10 = 3.321928094887362
const EXPONENT_BIAS = 1023
const MANTISSA_SCALE = 1048576
const SERIES_TERMS = 14

const float = new Float64Array(1)
const words = new Uint32Array(float.buffer)
const LITTLE_ENDIAN_HIGH = 1

function powerOfTwo(n: number): number {
  words[0] = 0
  words[LITTLE_ENDIAN_HIGH] = (EXPONENT_BIAS + n) * MANTISSA_SCALE
  return float[0] as number
}

/** Two to the power x; 0 below -1022, where no programme level lies. */
export function exp2(x: number): number {
  if (x < -1022) return 0
  if (x > 1023) return Number.POSITIVE_INFINITY
  const whole = Math.round(x)
  const y = (x - whole) * LN2
  let sum = 1
  for (let n = SERIES_TERMS; n >= 1; n--) sum = 1 + (sum * y) / n
  return sum * powerOfTwo(whole)
}

/** Logarithm to base two of a positive normal number; -Infinity at 0. */
export function log2(x: number): number {
  if (!(x > 0)) return x === 0 ? Number.NEGATIVE_INFINITY : Number.NaN
  if (x === Number.POSITIVE_INFINITY) return x
  float[0] = x
  const high = words[LITTLE_ENDIAN_HIGH] as number
  let exponent = Math.floor(high / MANTISSA_SCALE) - EXPONENT_BIAS
  words[LITTLE_ENDIAN_HIGH] = high - (exponent + EXPONENT_BIAS) * MANTISSA_SCALE + EXPONENT_BIAS * MANTISSA_SCALE
  let mantissa = float[0] as number
  if (mantissa > Math.SQRT2) {
    mantissa /= 2
    exponent += 1
  }
  // ln m = 2 artanh((m - 1) / (m + 1)), |argument| <= 0.172
  const z = (mantissa - 1) / (mantissa + 1)
  const zz = z * z
  let sum = 0
  for (let n = 2 * SERIES_TERMS + 1; n >= 1; n -= 2) sum = 1 / n + zz * sum
  return exponent + (2 * z * sum) / LN2
}

/** Amplitude ratio of a gain in dB. */
export function dbToGain(db: number): number {
  return exp2((db * LOG2_10) / 20)
}

/** Power ratio of a level in dB. */
export function dbToPower(db: number): number {
  return exp2((db * LOG2_10) / 10)
}

/** Level in dB of an amplitude ratio; -Infinity at 0. */
export function gainToDb(gain: number): number {
  return (20 * log2(gain)) / LOG2_10
}

/** Level in dB of a power ratio; -Infinity at 0. */
export function powerToDb(power: number): number {
  return (10 * log2(power)) / LOG2_10
}
