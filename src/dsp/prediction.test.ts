// Outside authority: the sums are checked against a plain transcription of their definition (Makhoul 1975), to the bit.
import { expect, test } from 'vitest'
import { loadKernels } from '../../test/testkit/kernels.ts'
import { seededRandom } from '../../test/testkit/programmes.ts'
import { errorsReference, productsReference } from './prediction.reference.ts'
import { LinearPrediction, takeSamples } from './prediction.ts'

// Blocks of 50 ms at 44.1, 48 and 22.05 kHz: not all a multiple of the eight that the kernels work on.
test.each([2205, 2400, 1103, 9])('a block of %i samples: products and errors', (length) => {
  const kernels = loadKernels(4 * 1024 * 1024)
  const random = seededRandom(length)
  const order = 32
  const signal = takeSamples(kernels, 2 * length + 3 * order)
  signal.forEach((_, n) => {
    signal[n] = random() - 0.5 + 0.3 * (signal[n - 1] ?? 0)
  })
  const window = Float64Array.from({ length }, () => random())
  const prediction = new LinearPrediction(kernels, order, window, length)
  const tapered = window.map((weight, n) => signal[order + n]! * weight)
  expect(prediction.products(signal, order)).toEqual(productsReference(tapered, order))
  const taps = Float64Array.from({ length: order + 1 }, () => random() - 0.5)
  const errors = prediction.errors(signal, 2 * order, length, taps)
  expect(errors).toEqual(errorsReference(signal, 2 * order, length, taps))
})
