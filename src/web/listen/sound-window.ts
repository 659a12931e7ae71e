import { type AudioSource, assert, bytesPerFrame, type LayoutName, type PcmFormat } from '../../domain/index.ts'

/** What is fetched: a programme's shape, and how its samples travel. */
type SoundTitle = { readonly format: PcmFormat; readonly layout: LayoutName; readonly frameCount: number }

/** A programme and the address at which its samples are asked for. */
export type LiveSound = { readonly title: SoundTitle; readonly address: string }

/** Reads samples from wherever they lie, interleaved PCM. */
type FetchSound = (firstFrame: number, frameCount: number) => Promise<ArrayBuffer>

/** Seconds that are kept around what is heard: two segments and what is read around them. */
const MOST_BLOCKS = 90

/** A programme of which only what was fetched lately is at hand, in blocks of a second. */
export class SoundWindow implements AudioSource {
  readonly format: PcmFormat
  readonly layout: LayoutName
  readonly frameCount: number
  readonly #fetch: FetchSound
  readonly #blockFrames: number
  /** In the order of their last use. */
  readonly #blocks = new Map<number, Uint8Array>()

  constructor({ format, layout, frameCount }: SoundTitle, fetch: FetchSound) {
    this.format = format
    this.layout = layout
    this.frameCount = frameCount
    this.#fetch = fetch
    this.#blockFrames = format.sampleRateHz
  }

  /** Fetches what is missing of some frames; what lies outside the programme is nothing. */
  async bring(startFrame: number, endFrame: number): Promise<void> {
    const first = Math.floor(Math.max(0, startFrame) / this.#blockFrames)
    const end = Math.ceil(Math.min(this.frameCount, endFrame) / this.#blockFrames)
    const missing: number[] = []
    for (let block = first; block < end; block++) {
      const known = this.#blocks.get(block)
      if (known === undefined) missing.push(block)
      else {
        this.#blocks.delete(block)
        this.#blocks.set(block, known)
      }
    }
    for (const [from, to] of runsOf(missing)) await this.#bringBlocks(from, to)
    for (const block of this.#blocks.keys()) {
      if (this.#blocks.size <= Math.max(MOST_BLOCKS, end - first)) break
      this.#blocks.delete(block)
    }
  }

  readInto(bytes: Uint8Array, frameIndex: number, frameCount: number): void {
    const frameBytes = bytesPerFrame(this.format)
    for (let done = 0; done < frameCount; ) {
      const frame = frameIndex + done
      const block = Math.floor(frame / this.#blockFrames)
      const known = this.#blocks.get(block)
      assert(known !== undefined, `second ${block} of the programme was not fetched`)
      const from = frame - block * this.#blockFrames
      const count = Math.min(frameCount - done, this.#blockFrames - from)
      bytes.set(known.subarray(from * frameBytes, (from + count) * frameBytes), done * frameBytes)
      done += count
    }
  }

  async #bringBlocks(from: number, to: number): Promise<void> {
    const firstFrame = from * this.#blockFrames
    const count = Math.min(this.frameCount, to * this.#blockFrames) - firstFrame
    const bytes = new Uint8Array(await this.#fetch(firstFrame, count))
    const blockBytes = this.#blockFrames * bytesPerFrame(this.format)
    for (let block = from; block < to; block++) {
      const at = (block - from) * blockBytes
      this.#blocks.set(block, bytes.slice(at, at + blockBytes))
    }
  }
}

/** Blocks that are fetched in one answer; the desk gives no more than ten seconds at the highest rate. */
const MOST_AT_ONCE = 10

/** Neighbouring numbers as ranges `[from, to)`. */
function runsOf(numbers: readonly number[]): readonly (readonly [number, number])[] {
  const runs: [number, number][] = []
  for (const number of numbers) {
    const last = runs.at(-1)
    if (last !== undefined && last[1] === number && number - last[0] < MOST_AT_ONCE) last[1] = number + 1
    else runs.push([number, number + 1])
  }
  return runs
}
