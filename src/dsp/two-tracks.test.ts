// Outside authority: none is needed but the definitions; the kernels are held against a plain twin, to the bit, and a sine
// changes sides twice in each period.
import { expect, test } from 'vitest'
import { inKernelMemory, loadKernels } from '../../test/testkit/kernels.ts'
import { seededRandom } from '../../test/testkit/programmes.ts'
import { changesReference, momentsReference } from './two-tracks.reference.ts'
import { forEachChange, momentsOf } from './two-tracks.ts'

const kernels = loadKernels(8 * 1024 * 1024)

function changesOf(track: Float32Array, share: number): number[] {
  const frames: number[] = []
  forEachChange(kernels, inKernelMemory(kernels, track), share, (frame) => frames.push(frame))
  return frames
}

function noise(seed: number, length: number): Float32Array {
  const random = seededRandom(seed)
  return Float32Array.from({ length }, () => random() - 0.5)
}

test.each([1, 9599, 9600])('moments of %i frames', (length) => {
  const [left, right] = [noise(1, length), noise(2, length)]
  const pair = { left: inKernelMemory(kernels, left), right: inKernelMemory(kernels, right) }
  const { leftSquares, rightSquares, leftSum, rightSum, products } = momentsOf(kernels, pair, 0, length)
  expect([leftSquares, rightSquares, leftSum, rightSum, products]).toEqual(momentsReference(left, right))
})

test('changes of sides: of noise, across chunks, of silence, and of a track that stays on one side', () => {
  // Longer than two chunks, and no multiple of the four that are looked at together.
  const long = noise(3, 140001)
  for (const share of [1 / 16, 0.9]) expect(changesOf(long, share)).toEqual(changesReference(long, share))
  expect(changesOf(new Float32Array(50), 1 / 16)).toEqual(changesReference(new Float32Array(50), 1 / 16))
  expect(changesOf(new Float32Array(50).fill(0.5), 1 / 16)).toEqual([])
})

test('a sine of 1 kHz changes sides 2000 times in a second', () => {
  const sine = Float32Array.from({ length: 48000 }, (_, n) => Math.sin(2 * Math.PI * (n / 48 + 0.1)))
  expect(changesOf(sine, 1 / 16)).toHaveLength(2000)
})
