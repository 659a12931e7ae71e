import { FourierTransform } from './fft.ts'
import type { Kernels } from './kernels.ts'

export interface PairSpectraExports {
  readonly pairWindow: (left: number, right: number, window: number, count: number, re: number, im: number) => void
  readonly pairPart: (re: number, im: number, length: number, first: number, end: number, bins: number) => void
  readonly pairSumGroups: (bins: number, edges: number, groups: number, sums: number) => void
  readonly pairStrongest: (bins: number, first: number, end: number, out: number) => void
  readonly pairLogarithms: (bins: number, first: number, groups: number, out: number) => void
  readonly pairAddCross: (
    bins: number,
    first: number,
    end: number,
    white: number,
    plain: number,
    powers: number,
  ) => void
  readonly pairJoin: (
    a: number,
    b: number,
    c: number,
    first: number,
    end: number,
    scale: number,
    joined: number,
  ) => void
  readonly pairPack: (
    one: number,
    two: number,
    length: number,
    first: number,
    end: number,
    re: number,
    im: number,
  ) => void
}

/** Two tracks in kernel memory, equally long. */
export type Pair = { readonly left: Float32Array; readonly right: Float32Array }

/** The bins from `first` up to `end`. */
export type BinRange = { readonly first: number; readonly end: number }

/** Sums over groups of neighbouring bins: power of the left and of the right track, real and imaginary cross power of each. */
export type BinGroups = { readonly edges: Int32Array; readonly sums: Float64Array }

/** What correlations by lag are made from: cross spectra with every bin counting the same, and as they are, and the powers. */
export type CrossSums = { readonly white: Float64Array; readonly plain: Float64Array; readonly powers: Float64Array }

/** Numbers that a look over the bins gives: two of the left track's and of the right one's. */
const FOUND = 4

/** Bins whose logarithms are taken as one, by their product. */
export const PRODUCT_BINS = 8

/**
 * Power and cross spectra of two tracks by one complex transform (left real, right imaginary).
 * The cross spectrum is left times the conjugate of right: its phase rises with frequency where the right track is late.
 * Takes its memory from the arena; the caller gives it back. What a call returns is written over by the next one.
 */
export class PairSpectrum {
  readonly length: number
  readonly binHz: number
  /** Power of left and of right, real and imaginary part of the cross power, bin after bin. */
  readonly bins: Float32Array
  readonly #kernels: Kernels
  readonly #transform: FourierTransform
  readonly #window: Float32Array
  readonly #inRe: Float32Array
  readonly #inIm: Float32Array
  readonly #outRe: Float32Array
  readonly #outIm: Float32Array
  readonly #found: Float64Array
  readonly #joined: readonly [Float64Array, Float64Array]

  /** The window is as long as the transform. */
  constructor(kernels: Kernels, window: Float32Array, sampleRateHz: number) {
    const { length } = window
    this.length = length
    this.binHz = sampleRateHz / length
    this.#kernels = kernels
    this.#transform = new FourierTransform(kernels, length)
    this.#window = this.#floats(length)
    this.#window.set(window)
    const plane = () => new Float32Array(kernels.memory.buffer, this.#transform.takePlane(), length)
    this.#inRe = plane()
    this.#inIm = plane()
    this.#outRe = plane()
    this.#outIm = plane()
    // Bins are parted two at a time.
    this.bins = this.#floats(2 * length + FOUND).fill(0)
    this.#found = this.#doubles(FOUND)
    this.#joined = [this.#doubles(length), this.#doubles(length)]
  }

  #floats(count: number): Float32Array {
    const { arena, memory } = this.#kernels
    return new Float32Array(memory.buffer, arena.take(count * Float32Array.BYTES_PER_ELEMENT), count)
  }

  #doubles(count: number): Float64Array {
    const { arena, memory } = this.#kernels
    return new Float64Array(memory.buffer, arena.take(count * Float64Array.BYTES_PER_ELEMENT), count)
  }

  /** Computes some bins around a frame of the pair; what lies outside the pair is silence. The first bin is 1 at least. */
  lookAround({ left, right }: Pair, centre: number, { first, end }: BinRange): void {
    const { length } = this
    const from = centre - length / 2
    const begin = Math.max(0, -from)
    const stop = Math.min(length, left.length - from)
    const [re, im, window] = [this.#inRe, this.#inIm, this.#window]
    if (begin > 0 || stop < length) {
      re.fill(0)
      im.fill(0)
    }
    const at = (samples: Float32Array, index: number) => samples.byteOffset + index * Float32Array.BYTES_PER_ELEMENT
    const { pairWindow, pairPart } = this.#kernels.exports
    const tracks = [at(left, from + begin), at(right, from + begin)] as const
    pairWindow(...tracks, at(window, begin), Math.max(0, stop - begin), at(re, begin), at(im, begin))
    const [outRe, outIm] = [this.#outRe.byteOffset, this.#outIm.byteOffset]
    this.#transform.forward(re.byteOffset, im.byteOffset, outRe, outIm)
    pairPart(outRe, outIm, length, first, end, this.bins.byteOffset)
  }

  /** Groups of bins, each from one of the rising `edges` up to the next, with empty sums. */
  takeGroups(edges: readonly number[]): BinGroups {
    const { arena, memory } = this.#kernels
    const address = arena.take(edges.length * Int32Array.BYTES_PER_ELEMENT)
    const taken = new Int32Array(memory.buffer, address, edges.length)
    taken.set(edges)
    const sums = this.#doubles(FOUND * (edges.length - 1))
    sums.fill(0)
    return { edges: taken, sums }
  }

  /** Adds the bins to the sums of their groups. */
  addToGroups({ edges, sums }: BinGroups): void {
    const count = edges.length - 1
    this.#kernels.exports.pairSumGroups(this.bins.byteOffset, edges.byteOffset, count, sums.byteOffset)
  }

  /** Power of some bins and the strongest of them, the first of equals: power left, right, bin left, right. */
  strongest({ first, end }: BinRange): Float64Array {
    this.#kernels.exports.pairStrongest(this.bins.byteOffset, first, end, this.#found.byteOffset)
    return this.#found
  }

  /** Power of `PRODUCT_BINS` times `groups` bins and the sum of its logarithms to base two by group: left, right of each. */
  logarithms(first: number, groups: number): Float64Array {
    this.#kernels.exports.pairLogarithms(this.bins.byteOffset, first, groups, this.#found.byteOffset)
    return this.#found
  }

  takeCross(): CrossSums {
    return { white: this.#doubles(this.length), plain: this.#doubles(this.length), powers: this.#doubles(2) }
  }

  /** Adds some bins to what the right track's correlation by lag is made from. */
  addToCross({ white, plain, powers }: CrossSums, { first, end }: BinRange): void {
    const sums = [white.byteOffset, plain.byteOffset, powers.byteOffset] as const
    this.#kernels.exports.pairAddCross(this.bins.byteOffset, first, end, ...sums)
  }

  /**
   * Two correlations by lag of three sums joined: index `lag` (or `length + lag`) of the result.
   * @param scales factors of the two
   */
  correlate(
    ring: readonly [CrossSums, CrossSums, CrossSums],
    { first, end }: BinRange,
    scales: { readonly white: number; readonly plain: number },
  ): { readonly white: Float32Array; readonly plain: Float32Array } {
    const { pairJoin, pairPack } = this.#kernels.exports
    const [white, plain] = [this.#joined[0].byteOffset, this.#joined[1].byteOffset]
    const [a, b, c] = ring
    pairJoin(a.white.byteOffset, b.white.byteOffset, c.white.byteOffset, first, end, scales.white, white)
    pairJoin(a.plain.byteOffset, b.plain.byteOffset, c.plain.byteOffset, first, end, scales.plain, plain)
    const [inRe, inIm] = [this.#inRe, this.#inIm]
    inRe.fill(0)
    inIm.fill(0)
    pairPack(white, plain, this.length, first, end, inRe.byteOffset, inIm.byteOffset)
    const [outRe, outIm] = [this.#outRe, this.#outIm]
    this.#transform.inverse(inRe.byteOffset, inIm.byteOffset, outRe.byteOffset, outIm.byteOffset)
    return { white: outRe, plain: outIm }
  }
}
