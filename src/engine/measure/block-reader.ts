import { type AudioSource, bytesPerFrame } from '../../domain/index.ts'
import { decodeChannel, type Kernels, type Plane, takePlane } from '../../dsp/index.ts'

/** Reads blocks of a source into planes of kernel memory, full scale = 1, double precision: words come through exactly. */
export class BlockReader {
  readonly planes: readonly Plane[]
  /** The same planes as numbers. */
  readonly samples: readonly Float64Array[]
  readonly #kernels: Kernels
  readonly #source: AudioSource
  readonly #address: number

  /** @param capacity the most frames of one read */
  constructor(kernels: Kernels, source: AudioSource, capacity: number) {
    this.#kernels = kernels
    this.#source = source
    this.#address = kernels.arena.take(capacity * bytesPerFrame(source.format))
    this.planes = Array.from({ length: source.format.channelCount }, () => takePlane(kernels, capacity, true))
    this.samples = this.planes.map(({ address }) => new Float64Array(kernels.memory.buffer, address, capacity))
  }

  /** Puts frames of the source at `at` of the planes. */
  read(frame: number, frameCount: number, at = 0): void {
    const { format } = this.#source
    const bytes = new Uint8Array(this.#kernels.memory.buffer, this.#address, frameCount * bytesPerFrame(format))
    this.#source.readInto(bytes, frame, frameCount)
    const pcm = { address: this.#address, format, frameCount }
    for (const [channel, plane] of this.planes.entries()) decodeChannel(this.#kernels, pcm, channel, plane, at)
  }
}
