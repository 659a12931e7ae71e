/** The discrete Fourier transform as it is defined, for lengths that are powers of two: the oracle of the kernel. */
export function transform(re: Float64Array, im: Float64Array): { re: Float64Array; im: Float64Array } {
  const n = re.length
  if (n === 1) return { re: re.slice(), im: im.slice() }
  const half = n / 2
  const take = (x: Float64Array, odd: number) => Float64Array.from({ length: half }, (_, i) => x[2 * i + odd] as number)
  const even = transform(take(re, 0), take(im, 0))
  const odd = transform(take(re, 1), take(im, 1))
  const outRe = new Float64Array(n)
  const outIm = new Float64Array(n)
  for (let k = 0; k < half; k++) {
    const c = Math.cos((2 * Math.PI * k) / n)
    const s = -Math.sin((2 * Math.PI * k) / n)
    const tr = (odd.re[k] as number) * c - (odd.im[k] as number) * s
    const ti = (odd.re[k] as number) * s + (odd.im[k] as number) * c
    outRe[k] = (even.re[k] as number) + tr
    outIm[k] = (even.im[k] as number) + ti
    outRe[k + half] = (even.re[k] as number) - tr
    outIm[k + half] = (even.im[k] as number) - ti
  }
  return { re: outRe, im: outIm }
}
