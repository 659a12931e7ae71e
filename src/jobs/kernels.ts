import { createHash } from 'node:crypto'
import { readFileSync } from 'node:fs'
import { Arena, type KernelExports, type Kernels, MODULE_BYTES } from '../dsp/index.ts'

const PAGE_BYTES = 65536

/** The compiled kernels as they travel to a worker, with the hash that reports name as provenance. */
export type KernelModule = { readonly module: WebAssembly.Module; readonly sha256: string }

/** Reads and compiles the kernels that `npm run build` made. */
export function compileKernels(): KernelModule {
  compiled ??= compiledFrom(readFileSync(new URL('../../build/kernels.wasm', import.meta.url)))
  return compiled
}

let compiled: KernelModule | null = null

function compiledFrom(bytes: Uint8Array<ArrayBuffer>): KernelModule {
  return { module: new WebAssembly.Module(bytes), sha256: createHash('sha256').update(bytes).digest('hex') }
}

/** One private instance with a memory of fixed size: only touched pages become resident. */
export function instantiateKernels(module: WebAssembly.Module, memoryBytes: number): Kernels {
  const pages = Math.ceil(memoryBytes / PAGE_BYTES)
  const memory = new WebAssembly.Memory({ initial: pages, maximum: pages })
  const instance = new WebAssembly.Instance(module, { env: { memory } })
  return {
    exports: instance.exports as unknown as KernelExports,
    memory,
    arena: new Arena(MODULE_BYTES, pages * PAGE_BYTES),
  }
}
