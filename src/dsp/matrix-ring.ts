import type { Kernels } from './kernels.ts'

/** The last `slotCount` frames of `floatCount` floats in kernel memory, by their index. */
export class FrameRing {
  readonly #address: number
  readonly #frameBytes: number
  readonly #slotCount: number

  constructor(kernels: Kernels, slotCount: number, floatCount: number) {
    this.#frameBytes = floatCount * Float32Array.BYTES_PER_ELEMENT
    this.#slotCount = slotCount
    this.#address = kernels.arena.take(slotCount * this.#frameBytes)
  }

  at(index: number): number {
    return this.#address + (index % this.#slotCount) * this.#frameBytes
  }
}
