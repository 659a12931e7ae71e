import type { GainPiece } from '../trims.ts'
import { windowMeans } from './windows.ts'

const BLOCK = 256

/** The highest of the windows that start in a stretch, and the first place where it stands; -1 where there is none. */
export type HighestWindow = { readonly power: number; readonly place: number }

const NONE: HighestWindow = { power: 0, place: -1 }

/**
 * The highest mean over a sliding window, under gains that hold still for most of the time: windows that lie wholly
 * under one gain are looked up, only those across a border or a glide are computed anew.
 */
export class HighestWindows {
  readonly #powers: Float64Array
  readonly #length: number
  readonly #means: Float64Array
  /** Place of the first highest window of each whole block. */
  readonly #blocks: Int32Array

  constructor(powers: Float64Array, length: number) {
    this.#powers = powers
    this.#length = length
    this.#means = windowMeans(powers, length)
    this.#blocks = new Int32Array(Math.floor(this.#means.length / BLOCK))
    for (let block = 0; block < this.#blocks.length; block++) {
      this.#blocks[block] = this.#scan(block * BLOCK, (block + 1) * BLOCK, NONE).place
    }
  }

  /** The highest window under gains whose pieces follow each other from the first fine hop to the last. */
  under(pieces: readonly GainPiece[]): HighestWindow {
    let best = NONE
    let next = 0
    for (const [index, { first, end, powerGain, ratio }] of pieces.entries()) {
      const pureEnd = end - this.#length + 1
      if (ratio !== 1 || pureEnd <= first) continue
      best = higher(best, this.#across(pieces, index, next, first))
      const { power, place } = this.#highestAtRest(first, pureEnd)
      best = higher(best, { power: power * powerGain, place })
      next = pureEnd
    }
    return higher(best, this.#across(pieces, pieces.length - 1, next, this.#means.length))
  }

  /** Windows that start in [from, to) and do not lie under one gain; no piece after `lastPiece` begins before `to`. */
  #across(pieces: readonly GainPiece[], lastPiece: number, from: number, to: number): HighestWindow {
    if (to <= from) return NONE
    const end = to - 1 + this.#length
    const powers = this.#powers.slice(from, end)
    let index = lastPiece
    while (index + 1 < pieces.length && (pieces[index] as GainPiece).end < end) index++
    for (; index >= 0 && (pieces[index] as GainPiece).end > from; index--) multiply(powers, from, pieces[index])
    let best = NONE
    for (const [i, power] of windowMeans(powers, this.#length).entries()) {
      if (power > best.power) best = { power, place: from + i }
    }
    return best
  }

  #highestAtRest(from: number, to: number): HighestWindow {
    const firstBlock = Math.ceil(from / BLOCK)
    const endBlock = Math.floor(to / BLOCK)
    if (firstBlock >= endBlock) return this.#scan(from, to, NONE)
    let best = this.#scan(from, firstBlock * BLOCK, NONE)
    for (let block = firstBlock; block < endBlock; block++) {
      const place = this.#blocks[block] as number
      if (place >= 0 && (this.#means[place] as number) > best.power)
        best = { power: this.#means[place] as number, place }
    }
    return this.#scan(endBlock * BLOCK, to, best)
  }

  #scan(from: number, to: number, known: HighestWindow): HighestWindow {
    let { power, place } = known
    for (let i = from; i < to; i++) {
      const mean = this.#means[i] as number
      if (mean > power) {
        power = mean
        place = i
      }
    }
    return { power, place }
  }
}

function higher(earlier: HighestWindow, later: HighestWindow): HighestWindow {
  return later.power > earlier.power ? later : earlier
}

/** Puts one piece of gain on powers of which the first stands at fine hop `from`. */
function multiply(powers: Float64Array, from: number, piece: GainPiece | undefined): void {
  if (piece === undefined) return
  const first = piece.ratio === 1 ? Math.max(piece.first, from) : piece.first
  const end = Math.min(piece.end, from + powers.length)
  let gain = piece.powerGain
  for (let i = first; i < end; i++) {
    if (i >= from) powers[i - from] = (powers[i - from] as number) * gain
    gain *= piece.ratio
  }
}
