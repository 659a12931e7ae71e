/** What the node world uses of WebAssembly; Node's types leave it to the DOM library, which we do not load. */
declare namespace WebAssembly {
  class Module {
    constructor(bytes: Uint8Array)
  }
  class Memory {
    constructor(limits: { initial: number; maximum: number })
    readonly buffer: ArrayBuffer
  }
  class Instance {
    constructor(module: Module, imports: Record<string, Record<string, unknown>>)
    readonly exports: Record<string, unknown>
  }
}
