import { log2 } from '../domain/index.ts'

/** Power left, power right, real and imaginary part of left times the conjugate of right. */
export type PairBin = readonly [number, number, number, number]

/** One bin of two tracks whose transform as left + j right is `re`, `im`: single precision, computed in double. */
export function binReference(re: Float32Array, im: Float32Array, bin: number): PairBin {
  const mirror = re.length - bin
  const leftRe = (re[bin]! + re[mirror]!) / 2
  const leftIm = (im[bin]! - im[mirror]!) / 2
  const rightRe = (im[bin]! + im[mirror]!) / 2
  const rightIm = (re[mirror]! - re[bin]!) / 2
  return [
    Math.fround(leftRe * leftRe + leftIm * leftIm),
    Math.fround(rightRe * rightRe + rightIm * rightIm),
    Math.fround(leftRe * rightRe + leftIm * rightIm),
    Math.fround(leftIm * rightRe - leftRe * rightIm),
  ]
}

/** Four sums over bins, on top of sums that are there. */
export function sumReference(bins: readonly PairBin[], sums: readonly number[]): number[] {
  return sums.map((sum, part) => bins.reduce((total, bin) => total + bin[part]!, sum))
}

/** The place of the largest value, the first of equals, beginning with place 2. */
export function strongestReference(powers: readonly number[]): number {
  return powers.reduce((best, power, at) => (power > powers[best]! ? at : best), 2)
}

/** Sum of the logarithms to base two of products of eight. */
export function logarithmsReference(powers: readonly number[]): number {
  let logs = 0
  for (let at = 0; at < powers.length; at += 8) logs += log2(powers.slice(at, at + 8).reduce((a, b) => a * b, 1))
  return logs
}

/** Correlation by lag of two spectra as the inverse transform of what is summed: each bin as it is, or of magnitude 1. */
export function crossReference(bins: readonly PairBin[], isWhite: boolean): { re: number; im: number } {
  let re = 0
  let im = 0
  for (const [, , crossRe, crossIm] of bins) {
    const scale = isWhite ? 1 / (Math.sqrt(crossRe * crossRe + crossIm * crossIm) + 1e-20) : 1
    re += crossRe * scale
    im -= crossIm * scale
  }
  return { re, im }
}
