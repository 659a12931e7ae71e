export type Complex = { readonly re: Float64Array; readonly im: Float64Array }

/**
 * The discrete Fourier transform in double precision, for lengths that are powers of two: the oracle of the kernel.
 * @source Cooley and Tukey, Math. Comput. 19 (1965): bit reversal, then butterflies of twice the width each time
 */
export function transform(inputRe: Float64Array, inputIm: Float64Array): Complex {
  const n = inputRe.length
  const re = new Float64Array(n)
  const im = new Float64Array(n)
  for (let i = 0, reversed = 0; i < n; i++) {
    re[reversed] = inputRe[i]!
    im[reversed] = inputIm[i]!
    let bit = n >> 1
    while (reversed & bit) {
      reversed ^= bit
      bit >>= 1
    }
    reversed |= bit
  }
  for (let width = 2; width <= n; width *= 2) {
    const half = width / 2
    const roots = rootsOfUnity(width)
    for (let start = 0; start < n; start += width) {
      for (let k = 0; k < half; k++) {
        const a = start + k
        const b = a + half
        const turnedRe = re[b]! * roots.re[k]! - im[b]! * roots.im[k]!
        const turnedIm = re[b]! * roots.im[k]! + im[b]! * roots.re[k]!
        re[b] = re[a]! - turnedRe
        im[b] = im[a]! - turnedIm
        re[a] = re[a]! + turnedRe
        im[a] = im[a]! + turnedIm
      }
    }
  }
  return { re, im }
}

const known = new Map<number, Complex>()

/** e^(-2 pi i k / n) for the first half of the circle. */
function rootsOfUnity(n: number): Complex {
  const found = known.get(n)
  if (found) return found
  const of = (f: (angle: number) => number) => Float64Array.from({ length: n / 2 }, (_, k) => f((-2 * Math.PI * k) / n))
  const roots = { re: of(Math.cos), im: of(Math.sin) }
  known.set(n, roots)
  return roots
}
