import { assert } from '../domain/index.ts'
import type { Kernels } from './kernels.ts'
import type { Extracted, Tracks } from './upmix.ts'
import { type FrontCounts, type FrontLines, stepsToFullScale, type WordEncoding } from './words.ts'

type Address = number

/** The kernel functions that write the fronts of a decoded Lt/Rt. */
export interface MatrixFrontExports {
  readonly matrixFronts: (
    lt: Address,
    rt: Address,
    centre: Address,
    leftSurround: Address,
    rightSurround: Address,
    leftOut: Address,
    rightOut: Address,
    frameCount: number,
  ) => void
  readonly matrixDeriveFronts: (
    lt: Address,
    rt: Address,
    centre: Address,
    leftSurround: Address,
    rightSurround: Address,
    frameCount: number,
    fullScale: number,
    left: Address,
    right: Address,
    counts: Address,
  ) => number
}

/**
 * Writes what remains in the fronts of a decoded Lt/Rt: lt - k c + k (ls + rs) and rt - k c - k (ls + rs) in float64, into
 * `out`, which may be the tracks. Encoding the five again by that law, without another turn of phase, gives the Lt/Rt.
 * All planes lie in kernel memory and have one length.
 * @source ATSC A/52 section 7.8.2 (Lt/Rt; from memory)
 */
export function writeMatrixFronts(
  kernels: Kernels,
  tracks: Tracks,
  extracted: Pick<Extracted, 'centre' | 'leftSurround' | 'rightSurround'>,
  out: Tracks,
): void {
  const frameCount = out.left.length
  const { centre, leftSurround, rightSurround } = extracted
  const planes = [tracks.left, tracks.right, centre, leftSurround, rightSurround, out.left, out.right] as const
  for (const plane of planes) {
    assert(plane.buffer === kernels.memory.buffer, 'the planes must lie in the memory of the kernels')
    assert(plane.length === frameCount, `all planes must have ${frameCount} frames`)
  }
  const [lt, rt, c, ls, rs, left, right] = planes.map(({ byteOffset }) => byteOffset) as Addresses
  kernels.exports.matrixFronts(lt, rt, c, ls, rs, left, right, frameCount)
}

type Addresses = [Address, Address, Address, Address, Address, Address, Address]

/**
 * The same from the words themselves, rounded half up, so that encoding the five words again, rounded, gives the words of
 * the Lt/Rt. Within 2^-20 of a rounding tie the right surround moves by one step first.
 * @source docs/decisions/0008 (how it is kept in whole numbers), docs/decisions/0020 (this law)
 */
export function deriveMatrixFronts(
  kernels: Kernels,
  { stereo, centre, surrounds, fronts }: FrontLines,
  frameCount: number,
  encoding: WordEncoding,
): FrontCounts {
  const { exports, arena, memory } = kernels
  const mark = arena.mark()
  const counts = arena.take(Int32Array.BYTES_PER_ELEMENT)
  const nearTies = new Int32Array(memory.buffer, counts, 1).fill(0)
  const overs = exports.matrixDeriveFronts(
    ...stereo,
    centre,
    ...surrounds,
    frameCount,
    stepsToFullScale(encoding),
    ...fronts,
    counts,
  )
  arena.release(mark)
  return { overs, nearTies: nearTies[0] as number }
}
