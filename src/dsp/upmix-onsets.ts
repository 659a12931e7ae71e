import type { Kernels } from './kernels.ts'
import type { UpmixGeometry } from './upmix-geometry.ts'

const DOUBLE = Float64Array.BYTES_PER_ELEMENT
const DOUBLES_PER_ROW = 4
/** Rows of silence that the kernel reads around those of the stretch. */
const ROWS_AHEAD = 60
const ROWS_BEHIND = 5

/** An onset rises to this many times the power heard before it, and further than any block near it. */
export const ONSET_CONTRAST = 16
export const ONSET_REACH_BLOCKS = 8

/**
 * Onsets of a stretch, by frame: whole blocks of `onsetBlockFrames`. Each depends on 25 ms before it and 6 ms after it,
 * to the bit, wherever the stretch begins on a hop.
 */
export function findOnsets(
  kernels: Kernels,
  geometry: UpmixGeometry,
  stretch: { readonly tracks: { readonly left: number; readonly right: number }; readonly frameCount: number },
): Int32Array {
  const { arena, memory, exports } = kernels
  const { onsetBlockFrames, onsetDelays } = geometry
  const { tracks, frameCount } = stretch
  const blockCount = Math.ceil(frameCount / onsetBlockFrames)
  const mark = arena.mark()
  const takeDoubles = (count: number) => new Float64Array(memory.buffer, arena.take(count * DOUBLE), count).fill(0)
  const rows = takeDoubles((ROWS_AHEAD + blockCount + ROWS_BEHIND) * DOUBLES_PER_ROW)
  const fours = takeDoubles((ROWS_AHEAD + blockCount) * DOUBLES_PER_ROW)
  const contrasts = takeDoubles(blockCount)
  const first = rows.byteOffset + ROWS_AHEAD * DOUBLES_PER_ROW * DOUBLE
  for (const delay of onsetDelays) {
    exports.upmixOnsetRows(tracks.left, tracks.right, frameCount, delay, onsetBlockFrames, first)
    exports.upmixOnsetContrasts(first, fours.byteOffset, blockCount, onsetBlockFrames, contrasts.byteOffset)
  }
  arena.release(mark)
  return Int32Array.from(peakBlocks(contrasts), (block) => block * onsetBlockFrames)
}

function peakBlocks(contrasts: Float64Array): number[] {
  const peaks: number[] = []
  for (let block = 0; block < contrasts.length; block++) {
    if ((contrasts[block] as number) >= ONSET_CONTRAST && isPeak(contrasts, block)) peaks.push(block)
  }
  return peaks
}

/** Of equals, the first counts. */
function isPeak(contrasts: Float64Array, block: number): boolean {
  const contrast = contrasts[block] as number
  for (let away = 1; away <= ONSET_REACH_BLOCKS; away++) {
    if ((contrasts[block - away] ?? 0) >= contrast || (contrasts[block + away] ?? 0) > contrast) return false
  }
  return true
}

/**
 * Cuts the signals of a pass at the onsets of its stretch. What sounds from an onset on goes through the weights apart
 * from what sounded before, and what comes back of it is heard from the onset on: the spread of a transform cannot
 * carry it ahead. Between two onsets lies a part; a pair of transforms sees `first` .. `last` of them.
 */
export class OnsetCuts {
  first = 0
  last = 0
  readonly #kernels: Kernels
  readonly #geometry: UpmixGeometry
  readonly #onsets: Int32Array

  constructor(kernels: Kernels, geometry: UpmixGeometry, onsets: Int32Array) {
    this.#kernels = kernels
    this.#geometry = geometry
    this.#onsets = onsets
  }

  /** Turns to the parts of the frames `from` .. `end`. */
  turnTo(from: number, end: number): void {
    this.first = this.#countUpTo(from)
    this.last = Math.max(this.first, this.#countUpTo(end + this.#geometry.onsetBlockFrames - 1))
  }

  /** Onsets by which the frames turned to are cut. */
  get onsetsInside(): readonly number[] {
    return Array.from(this.#onsets.subarray(this.first, this.last))
  }

  get isWhole(): boolean {
    return this.first === this.last
  }

  /** Leaves of a transform that begins at `from` what belongs to `part`: it fades in and out just before an onset. */
  keepPart(part: number, plane: number, from: number): void {
    const { onsetBlockFrames } = this.#geometry
    if (part > this.first) this.#gate(plane, this.#at(part - 1) - onsetBlockFrames - from, true)
    if (part < this.last) this.#gate(plane, this.#at(part) - onsetBlockFrames - from, false)
  }

  /** Keeps what has become of `part` from being heard ahead of it. */
  keepBack(part: number, plane: number, from: number): void {
    if (part > this.first) this.#gate(plane, this.#at(part - 1) - 2 * this.#geometry.onsetBlockFrames - from, true)
  }

  #gate(plane: number, rampFrom: number, opens: boolean): void {
    const { transformFrames, onsetBlockFrames } = this.#geometry
    this.#kernels.exports.upmixGate(plane, transformFrames, rampFrom, onsetBlockFrames, opens)
  }

  #at(index: number): number {
    return this.#onsets[index] as number
  }

  #countUpTo(frame: number): number {
    let low = 0
    let high = this.#onsets.length
    while (low < high) {
      const middle = (low + high) >> 1
      if (this.#at(middle) <= frame) low = middle + 1
      else high = middle
    }
    return low
  }
}
