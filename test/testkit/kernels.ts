import { readFileSync } from 'node:fs'
import { Arena, type KernelExports, type Kernels, MODULE_BYTES, takePlane } from '../../src/dsp/index.ts'

const PAGE_BYTES = 65536

/** Fresh kernels with a memory of their own, for tests and benches. */
export function loadKernels(memoryBytes = 256 * 1024 * 1024): Kernels {
  const path = process.env.PLIMSOLL_KERNELS ?? new URL('../../build/kernels.wasm', import.meta.url)
  const pages = Math.ceil(memoryBytes / PAGE_BYTES)
  const memory = new WebAssembly.Memory({ initial: pages, maximum: pages })
  const instance = new WebAssembly.Instance(new WebAssembly.Module(readFileSync(path)), { env: { memory } })
  return {
    exports: instance.exports as unknown as KernelExports,
    memory,
    arena: new Arena(MODULE_BYTES, memoryBytes),
  }
}

/** A copy of a track as a plane in kernel memory; the arena has it until its mark is released. */
export function inKernelMemory(kernels: Kernels, track: Float32Array): Float32Array {
  const { address } = takePlane(kernels, track.length, false)
  const plane = new Float32Array(kernels.memory.buffer, address, track.length)
  plane.set(track)
  return plane
}
