const known = new Map<number, { re: Float64Array; im: Float64Array }>()

/** e^(-2 pi i k / n) for the first half of the circle. */
function rootsOfUnity(n: number): { re: Float64Array; im: Float64Array } {
  const found = known.get(n)
  if (found) return found
  const of = (f: (angle: number) => number) => Float64Array.from({ length: n / 2 }, (_, k) => f((-2 * Math.PI * k) / n))
  const roots = { re: of(Math.cos), im: of(Math.sin) }
  known.set(n, roots)
  return roots
}

/** The discrete Fourier transform as it is defined, for lengths that are powers of two: the oracle of the kernel. */
export function transform(re: Float64Array, im: Float64Array): { re: Float64Array; im: Float64Array } {
  const n = re.length
  if (n === 1) return { re: re.slice(), im: im.slice() }
  const half = n / 2
  const take = (x: Float64Array, odd: number) => {
    const part = new Float64Array(half)
    for (let i = 0; i < half; i++) part[i] = x[2 * i + odd] as number
    return part
  }
  const even = transform(take(re, 0), take(im, 0))
  const odd = transform(take(re, 1), take(im, 1))
  const outRe = new Float64Array(n)
  const outIm = new Float64Array(n)
  const roots = rootsOfUnity(n)
  for (let k = 0; k < half; k++) {
    const c = roots.re[k] as number
    const s = roots.im[k] as number
    const tr = (odd.re[k] as number) * c - (odd.im[k] as number) * s
    const ti = (odd.re[k] as number) * s + (odd.im[k] as number) * c
    outRe[k] = (even.re[k] as number) + tr
    outIm[k] = (even.im[k] as number) + ti
    outRe[k + half] = (even.re[k] as number) - tr
    outIm[k + half] = (even.im[k] as number) - ti
  }
  return { re: outRe, im: outIm }
}
