import type { Kernels } from './kernels.ts'
import type { Pair } from './pair-spectra.ts'

export interface TwoTracksExports {
  readonly tracksMoments: (left: number, right: number, count: number, out: number) => void
  readonly trackPeak: (track: number, count: number) => number
  readonly trackChanges: (
    track: number,
    first: number,
    end: number,
    level: number,
    isHigh: number,
    out: number,
  ) => number
}

const MOMENTS = 5
/** Frames that changes are looked for in at a time. */
const CHUNK_FRAMES = 65536

/** Sums over a stretch of two tracks, in double precision. */
export type Moments = {
  readonly leftSquares: number
  readonly rightSquares: number
  readonly leftSum: number
  readonly rightSum: number
  readonly products: number
}

/** Sums of two tracks in kernel memory over the frames from `first` up to `end`. */
export function momentsOf(kernels: Kernels, { left, right }: Pair, first: number, end: number): Moments {
  const mark = kernels.arena.mark()
  const out = kernels.arena.take(MOMENTS * Float64Array.BYTES_PER_ELEMENT)
  const at = (track: Float32Array) => track.byteOffset + first * Float32Array.BYTES_PER_ELEMENT
  kernels.exports.tracksMoments(at(left), at(right), end - first, out)
  const sums = new Float64Array(kernels.memory.buffer, out, MOMENTS)
  kernels.arena.release(mark)
  const [leftSquares, rightSquares, leftSum, rightSum, products] = sums as unknown as [
    number,
    number,
    number,
    number,
    number,
  ]
  return { leftSquares, rightSquares, leftSum, rightSum, products }
}

/**
 * Calls `onChange` with every frame from 1 on at which a track (a plane in kernel memory, silence behind it) has gone to
 * the other side of zero by `share` of its highest magnitude; noise around zero is no change.
 */
export function forEachChange(
  kernels: Kernels,
  track: Float32Array,
  share: number,
  onChange: (frame: number) => void,
): void {
  const { trackPeak, trackChanges } = kernels.exports
  const mark = kernels.arena.mark()
  const out = kernels.arena.take(CHUNK_FRAMES * Int32Array.BYTES_PER_ELEMENT)
  const frames = new Int32Array(kernels.memory.buffer, out, CHUNK_FRAMES)
  const level = trackPeak(track.byteOffset, track.length) * share
  let isHigh = track[0]! > 0
  for (let first = 1; first < track.length; first += CHUNK_FRAMES) {
    const end = Math.min(first + CHUNK_FRAMES, track.length)
    const count = trackChanges(track.byteOffset, first, end, level, isHigh ? 1 : 0, out)
    for (let index = 0; index < count; index++) onChange(frames[index]!)
    if (count % 2 === 1) isHigh = !isHigh
  }
  kernels.arena.release(mark)
}
