import { describe, expect, it } from 'vitest'
import { loadKernels } from '../../test/testkit/kernels.ts'
import { transform } from './fft.reference.ts'
import { FourierTransform } from './fft.ts'

const kernels = loadKernels(8 * 1024 * 1024)

/** The sum that defines the transform, bin by bin. */
function byDefinition(re: Float64Array, im: Float64Array, bin: number): readonly [number, number] {
  let sumRe = 0
  let sumIm = 0
  for (let i = 0; i < re.length; i++) {
    const angle = (-2 * Math.PI * ((i * bin) % re.length)) / re.length
    sumRe += re[i]! * Math.cos(angle) - im[i]! * Math.sin(angle)
    sumIm += re[i]! * Math.sin(angle) + im[i]! * Math.cos(angle)
  }
  return [sumRe, sumIm]
}

function noise(length: number, seed: number): Float64Array {
  let state = seed
  return Float64Array.from({ length }, () => {
    state = (Math.imul(state, 1664525) + 1013904223) | 0
    return Math.fround(state / 0x80000000)
  })
}

describe.each([64, 128, 256, 512, 1024, 2048, 4096])('a transform of %i frames', (length) => {
  const mark = kernels.arena.mark()
  const fft = new FourierTransform(kernels, length)
  const plane = () => new Float32Array(kernels.memory.buffer, fft.takePlane(), length)
  const [re, im, outRe, outIm] = [plane(), plane(), plane(), plane()] as const
  const inputRe = noise(length, 1)
  const inputIm = noise(length, 2)
  const reference = transform(inputRe, inputIm)
  re.set(inputRe)
  im.set(inputIm)
  fft.forward(re.byteOffset, im.byteOffset, outRe.byteOffset, outIm.byteOffset)
  const forward = { re: outRe.slice(), im: outIm.slice() }
  fft.inverse(outRe.byteOffset, outIm.byteOffset, re.byteOffset, im.byteOffset)
  const returned = { re: re.slice(), im: im.slice() }
  kernels.arena.release(mark)
  const largest = Math.sqrt(reference.re.reduce((peak, x, k) => Math.max(peak, x * x + reference.im[k]! ** 2), 0))

  it('is the defining sum', () => {
    for (let bin = 0; bin < length; bin += Math.max(1, length / 64)) {
      const [sumRe, sumIm] = byDefinition(inputRe, inputIm, bin)
      expect(Math.abs(reference.re[bin]! - sumRe)).toBeLessThan(1e-12 * length)
      expect(Math.abs(reference.im[bin]! - sumIm)).toBeLessThan(1e-12 * length)
    }
    // Tolerance: float32, eight passes at most, 3e-7 of the largest bin.
    for (let bin = 0; bin < length; bin++) {
      expect(Math.abs(forward.re[bin]! - reference.re[bin]!)).toBeLessThan(3e-7 * largest)
      expect(Math.abs(forward.im[bin]! - reference.im[bin]!)).toBeLessThan(3e-7 * largest)
    }
  })

  it('comes back by the inverse', () => {
    for (let i = 0; i < length; i++) {
      expect(Math.abs(returned.re[i]! / length - inputRe[i]!)).toBeLessThan(1e-6)
      expect(Math.abs(returned.im[i]! / length - inputIm[i]!)).toBeLessThan(1e-6)
    }
  })
})
