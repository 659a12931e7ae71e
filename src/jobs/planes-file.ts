import { closeSync, ftruncateSync, openSync, readSync, writeSync } from 'node:fs'
import type { PlaneStore } from '../domain/index.ts'
import { onDisk, whileWriting } from './file-errors.ts'

/** Where the scratch planes of a title lie, as it travels to a worker: plane after plane, float32, host byte order. */
export type PlanesLocation = { readonly path: string; readonly frameCount: number }

const BYTES_PER_SAMPLE = 4
/** C, Ls, Rs and LFE. */
const PLANE_COUNT = 4

/** Bytes that the scratch planes of a programme take. */
export function planesBytes(frameCount: number): number {
  return PLANE_COUNT * BYTES_PER_SAMPLE * frameCount
}

/** Makes the scratch file; what is never written takes no room on the disk. */
export function createPlanes(path: string, frameCount: number): PlanesLocation {
  whileWriting(path, () => {
    const descriptor = openSync(path, 'wx')
    ftruncateSync(descriptor, planesBytes(frameCount))
    closeSync(descriptor)
  })
  return { path, frameCount }
}

type Move = (descriptor: number, bytes: Uint8Array, offset: number, length: number, position: number) => number

/** Scratch planes in a file; several workers may hold it open and write different frames. */
export class PlanesFile implements PlaneStore {
  readonly #path: string
  readonly #descriptor: number
  readonly #frameCount: number

  constructor(location: PlanesLocation) {
    this.#path = location.path
    this.#descriptor = onDisk('read', location.path, () => openSync(location.path, 'r+'))
    this.#frameCount = location.frameCount
  }

  read(planeIndex: number, frameIndex: number, samples: Float32Array): void {
    onDisk('read', this.#path, () => this.#transfer(planeIndex, frameIndex, samples, readSync))
  }

  write(planeIndex: number, frameIndex: number, samples: Float32Array): void {
    whileWriting(this.#path, () => this.#transfer(planeIndex, frameIndex, samples, writeSync))
  }

  close(): void {
    closeSync(this.#descriptor)
  }

  #transfer(planeIndex: number, frameIndex: number, samples: Float32Array, move: Move): void {
    const bytes = new Uint8Array(samples.buffer, samples.byteOffset, samples.byteLength)
    const start = (planeIndex * this.#frameCount + frameIndex) * BYTES_PER_SAMPLE
    for (let done = 0; done < bytes.length; ) {
      const moved = move(this.#descriptor, bytes, done, bytes.length - done, start + done)
      if (moved === 0) throw new Error(`scratch planes end at byte ${start + done}`)
      done += moved
    }
  }
}
