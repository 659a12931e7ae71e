import { type Listening, type Matrix, trimGainAt } from './heard.ts'

/** A stretch of the programme, a plane for each channel. */
export type Chunk = { readonly firstFrame: number; readonly planes: readonly Float32Array[] }

/** What is asked of the sound; each change is heard within some milliseconds, without a click. */
export type Asked = {
  readonly listening: Listening
  readonly matrix: Matrix
  /** Linear; moves by a slew limit, so that it never jumps up. */
  readonly monitorGain: number
  readonly pointsDb: Float64Array | null
}

/** Time constant of the move from one matrix or choice to another, in seconds. */
const GLIDE_SECONDS = 0.004
/** The monitor rises by this much a second at most; it falls at once. */
const RISE_DB_PER_SECOND = 40

/** Plays chunks as they come: trims, choice of what is heard, matrix, monitor. The same in a worklet and in a test. */
export class MixingDesk {
  /** The next frame that is heard. */
  frame = 0
  isPlaying = false
  readonly #sampleRateHz: number
  readonly #hopFrames: number
  readonly #chunks = new Map<number, Chunk>()
  readonly #chunkFrames: number
  #asked: Asked
  #monitor = 0
  #sourceShare = 0
  #trimShare = 0
  #matrix: number[][]

  constructor(sampleRateHz: number, hopFrames: number, chunkFrames: number, asked: Asked) {
    this.#sampleRateHz = sampleRateHz
    this.#hopFrames = hopFrames
    this.#chunkFrames = chunkFrames
    this.#asked = asked
    this.#matrix = asked.matrix.map((row) => row.map(() => 0))
  }

  ask(asked: Asked): void {
    this.#asked = asked
    if (asked.matrix.length !== this.#matrix.length) this.#matrix = asked.matrix.map((row) => row.map(() => 0))
  }

  give(chunk: Chunk): void {
    this.#chunks.set(Math.floor(chunk.firstFrame / this.#chunkFrames), chunk)
  }

  seek(frame: number): void {
    this.frame = frame
    this.#chunks.clear()
  }

  /** Fills the outputs with the next block; silence where nothing plays or nothing has come yet. */
  render(outputs: readonly Float32Array[]): void {
    const count = outputs[0]!.length
    for (const output of outputs) output.fill(0)
    this.#forget()
    const step = 1 - Math.exp(-1 / (GLIDE_SECONDS * this.#sampleRateHz))
    const rise = 10 ** (RISE_DB_PER_SECOND / 20 / this.#sampleRateHz)
    for (let i = 0; i < count; i++) {
      this.#glide(step, rise)
      if (!this.isPlaying) continue
      const chunk = this.#chunks.get(Math.floor(this.frame / this.#chunkFrames))
      if (chunk === undefined) return
      this.#mix(chunk, outputs, i)
      this.frame += 1
    }
  }

  #mix({ planes, firstFrame }: Chunk, outputs: readonly Float32Array[], i: number): void {
    const at = this.frame - firstFrame
    const gain = trimGainAt(this.#asked.pointsDb, this.frame, this.#hopFrames)
    const scale = this.#monitor * (this.#sourceShare + this.#trimShare * gain)
    for (const [output, row] of this.#matrix.entries()) {
      const into = outputs[output]
      if (into === undefined) break
      let sum = 0
      for (let channel = 0; channel < planes.length; channel++) sum += planes[channel]![at]! * row[channel]!
      into[i] = sum * scale
    }
  }

  #glide(step: number, rise: number): void {
    const { listening, matrix, monitorGain } = this.#asked
    const wanted =
      monitorGain < this.#monitor ? monitorGain : Math.min(monitorGain, Math.max(1e-4, this.#monitor) * rise)
    this.#monitor = monitorGain < this.#monitor ? this.#monitor + (wanted - this.#monitor) * step : wanted
    const [source, trim] = SHARES[listening]
    this.#sourceShare += (source - this.#sourceShare) * step
    this.#trimShare += (trim - this.#trimShare) * step
    for (const [output, row] of this.#matrix.entries()) {
      for (let channel = 0; channel < row.length; channel++) {
        row[channel]! += (matrix[output]![channel]! - row[channel]!) * step
      }
    }
  }

  /** Lets go of what lies behind. */
  #forget(): void {
    const now = Math.floor(this.frame / this.#chunkFrames)
    for (const index of this.#chunks.keys()) if (index < now) this.#chunks.delete(index)
  }
}

/** Shares of the source and of the trimmed programme in what is heard. */
const SHARES: Readonly<Record<Listening, readonly [number, number]>> = {
  source: [1, 0],
  trimmed: [0, 1],
  difference: [1, -1],
}
