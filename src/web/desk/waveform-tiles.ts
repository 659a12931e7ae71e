import { WAVEFORM_TILE_POINTS, waveformSteps } from '../../domain/index.ts'
import type { TitleHead } from '../../protocol/index.ts'

/** Some 10 MB of a 5.1. */
const MOST_TILES = 400
/** A browser asks one server for six things at a time, and something else may be needed meanwhile. */
const MOST_AT_ONCE = 4
/** More than a programme has tiles of one level. */
const TILES_OF_LEVEL = 2 ** 24

type Fetch = (level: number, tile: number) => Promise<Int16Array>

/**
 * How a title's channels look over time, by tiles: what is seen is asked for when it is drawn, and a coarser level takes
 * its place until it has come. Of all that came only the last few minutes' worth is kept, and the coarsest level.
 */
export class WaveformTiles {
  readonly #steps: readonly number[]
  readonly #channelCount: number
  readonly #frameCount: number
  readonly #fetch: Fetch
  readonly #onArrival: () => void
  /** By level and number, in the order in which they came. */
  readonly #tiles = new Map<number, Int16Array>()
  readonly #wanted = new Set<number>()
  readonly #coming = new Set<number>()

  constructor({ ground, sound }: Pick<TitleHead, 'ground' | 'sound'>, fetch: Fetch, onArrival: () => void) {
    this.#steps = waveformSteps(ground.sampleRateHz)
    this.#channelCount = sound.channelCount
    this.#frameCount = ground.frameCount
    this.#fetch = fetch
    this.#onArrival = onArrival
  }

  /**
   * The lowest and the highest sample of a channel in each of `count` equal stretches between two frames, as shares of
   * full scale in 16 bits, read of the coarsest level whose points are no longer than they are. The lowest lies above the
   * highest where nothing is, or nothing has come yet.
   */
  extremes(channel: number, fromFrame: number, toFrame: number, count: number): Int16Array {
    const framesEach = (toFrame - fromFrame) / count
    const level = Math.max(
      0,
      this.#steps.findLastIndex((step) => step <= framesEach),
    )
    const found = new Int16Array(2 * count)
    for (let index = 0; index < count; index++) {
      const first = Math.max(0, fromFrame + index * framesEach)
      const end = Math.min(this.#frameCount, fromFrame + (index + 1) * framesEach)
      this.#read(channel, first, end, level, found, 2 * index)
    }
    return found
  }

  #read(channel: number, first: number, end: number, level: number, into: Int16Array, at: number): void {
    into[at] = 1
    into[at + 1] = -1
    const step = this.#steps[level]
    if (step === undefined || end <= first) return
    let [lowest, highest] = [Number.POSITIVE_INFINITY, Number.NEGATIVE_INFINITY]
    for (let point = Math.floor(first / step); point * step < end; point++) {
      const tile = this.#tile(level, Math.floor(point / WAVEFORM_TILE_POINTS))
      if (tile === null) {
        this.#read(channel, first, end, level + 1, into, at)
        return
      }
      const place = channel * (tile.length / this.#channelCount) + 2 * (point % WAVEFORM_TILE_POINTS)
      lowest = Math.min(lowest, tile[place]!)
      highest = Math.max(highest, tile[place + 1]!)
    }
    into[at] = lowest
    into[at + 1] = highest
  }

  #tile(level: number, tile: number): Int16Array | null {
    const key = level * TILES_OF_LEVEL + tile
    const known = this.#tiles.get(key)
    if (known !== undefined) return known
    if (!this.#coming.has(key) && !this.#wanted.has(key)) {
      this.#wanted.add(key)
      this.#ask()
    }
    return null
  }

  /** The coarsest first: it stands in for all others. */
  #ask(): void {
    while (this.#coming.size < MOST_AT_ONCE && this.#wanted.size > 0) {
      const key = Math.max(...this.#wanted)
      this.#wanted.delete(key)
      this.#coming.add(key)
      void this.#take(key)
    }
  }

  async #take(key: number): Promise<void> {
    try {
      this.#tiles.set(key, await this.#fetch(Math.floor(key / TILES_OF_LEVEL), key % TILES_OF_LEVEL))
      this.#forgetSome()
      this.#onArrival()
    } catch {
      // A desk that no longer answers is told of by others; whatever is drawn next asks again.
      this.#wanted.clear()
    } finally {
      this.#coming.delete(key)
    }
    this.#ask()
  }

  #forgetSome(): void {
    const coarsest = (this.#steps.length - 1) * TILES_OF_LEVEL
    for (const key of this.#tiles.keys()) {
      if (this.#tiles.size <= MOST_TILES) return
      if (key < coarsest) this.#tiles.delete(key)
    }
  }
}
