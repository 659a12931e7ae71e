import { forEachChange, type Kernels } from '../../../dsp/index.ts'
import type { LabelRun } from './evidence.ts'

/** Bits of a label, and the sync word that ends it, as they arrive. @source SMPTE ST 12-1, linear timecode */
const BITS_PER_LABEL = 80
const SYNC_WORD = 0b0011111111111101
/** Lengths of a bit that are taken for timecode at first: labels at 18 to 40 a second. */
const SLOWEST_LABELS = 18
const FASTEST_LABELS = 40
/** A change counts when the signal has really gone to the other side, by this share of the highest sample. */
const CHANGE_SHARE = 1 / 16
/** Labels that must count on before it is called timecode. */
const LEAST_LABELS = 3

/**
 * Reads linear timecode from a track in kernel memory: biphase mark, a change of polarity at the border of every bit and another in the
 * middle of a one. The length of a bit is followed as the speed changes. Forwards only.
 * Gives the runs of labels whose first bit lies in [`begin`, `end`) of the track; positions count from `begin`.
 */
export function readLabels(
  kernels: Kernels,
  track: Float32Array,
  begin: number,
  end: number,
  sampleRateHz: number,
  side: 0 | 1,
): LabelRun[] {
  const reader = new LabelReader(sampleRateHz)
  const runs: MutableRun[] = []
  let last = 0
  forEachChange(kernels, track, CHANGE_SHARE, (frame) => {
    const before = track[frame - 1]!
    const at = frame - 1 + before / (before - track[frame]! || 1)
    const position = at > last && at <= frame ? at : frame
    last = position
    const label = reader.change(position)
    if (label !== null && label.position >= begin && label.position < end) addTo(runs, label, side, begin)
  })
  return runs.filter((run) => run.count >= LEAST_LABELS)
}

type Label = { readonly position: number; readonly fields: readonly number[]; readonly isDrop: boolean }
type MutableRun = { -readonly [K in keyof LabelRun]: LabelRun[K] }

function addTo(runs: MutableRun[], label: Label, side: 0 | 1, begin: number): void {
  const run = runs.at(-1)
  const position = label.position - begin
  if (run !== undefined && countsOn(run.last, label.fields)) {
    run.lastPosition = position
    run.count += 1
    run.last = label.fields
    return
  }
  const places = { firstPosition: position, lastPosition: position, first: label.fields, last: label.fields }
  runs.push({ side, ...places, count: 1, isDrop: label.isDrop })
}

/** Whether a label follows another: the next frame, or frame 0 (drop-frame: 2) of the next second. */
export function countsOn(before: readonly number[], after: readonly number[]): boolean {
  const [h0, m0, s0, f0] = before as [number, number, number, number]
  const [h1, m1, s1, f1] = after as [number, number, number, number]
  const seconds = (h1 - h0) * 3600 + (m1 - m0) * 60 + s1 - s0
  if (seconds === 0) return f1 === f0 + 1
  return (seconds === 1 || seconds === 1 - 86400) && f1 <= 2 && f0 >= 22
}

class LabelReader {
  readonly #shortest: number
  readonly #longest: number
  /** Frames of a bit, followed slowly. */
  #bit = 0
  #last = 0
  /** Position of the first half of a one that has arrived, or -1. */
  #half = -1
  /** The bits read, newest last, and where each began. */
  readonly #bits = new Uint8Array(BITS_PER_LABEL)
  readonly #starts = new Float64Array(BITS_PER_LABEL)
  #count = 0
  #sync = 0

  constructor(sampleRateHz: number) {
    this.#shortest = sampleRateHz / (FASTEST_LABELS * BITS_PER_LABEL)
    this.#longest = sampleRateHz / (SLOWEST_LABELS * BITS_PER_LABEL)
  }

  /** Takes a change of polarity; gives the label that it completes. */
  change(position: number): Label | null {
    const length = position - this.#last
    const start = this.#last
    this.#last = position
    if (this.#bit > 0 && length > 0.75 * this.#bit && length < 1.3 * this.#bit) {
      this.#half = -1
      this.#bit += 0.05 * (length - this.#bit)
      return this.#push(0, start)
    }
    if (this.#bit > 0 && length > 0.3 * this.#bit && length <= 0.75 * this.#bit) {
      if (this.#half < 0) {
        this.#half = start
        return null
      }
      const began = this.#half
      this.#half = -1
      return this.#push(1, began)
    }
    this.#count = 0
    this.#sync = 0
    this.#half = -1
    this.#bit = length > this.#shortest && length < this.#longest ? length : 0
    // Whether this was a whole bit shows by the sync word 80 bits later.
    return this.#bit > 0 ? this.#push(0, start) : null
  }

  #push(bit: 0 | 1, start: number): Label | null {
    this.#bits[this.#count % BITS_PER_LABEL] = bit
    this.#starts[this.#count % BITS_PER_LABEL] = start
    this.#count += 1
    this.#sync = ((this.#sync << 1) | bit) & 0xffff
    if (this.#sync !== SYNC_WORD || this.#count < BITS_PER_LABEL) return null
    return this.#decode()
  }

  /** Times stand in binary-coded decimals, the lowest bit first; flag 10 says drop-frame. */
  #decode(): Label | null {
    const first = this.#count % BITS_PER_LABEL
    const bit = (index: number) => this.#bits[(first + index) % BITS_PER_LABEL]!
    const digit = (at: number, width: number) => {
      let value = 0
      for (let index = 0; index < width; index++) value += bit(at + index) << index
      return value
    }
    const fields = [
      [48, 56, 2],
      [32, 40, 3],
      [16, 24, 3],
      [0, 8, 2],
    ].map(([units, tens, width]) => 10 * digit(tens!, width!) + digit(units!, 4))
    const limits = [23, 59, 59, 29]
    if (fields.some((value, index) => value > limits[index]!)) return null
    return { position: this.#starts[first]!, fields, isDrop: bit(10) === 1 }
  }
}
