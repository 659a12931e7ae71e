import { Bug, Cancelled, Refusal } from '../domain/index.ts'
import type { Task } from '../engine/index.ts'
import type { Places } from './workplace.ts'

/** What a worker is born with. */
export type CrewBirth = {
  readonly module: WebAssembly.Module
  readonly memoryBytes: number
  readonly places: Places
  /** The speech detector's weights, in memory that all workers share; null where nobody will listen. */
  readonly speechWeights: Float32Array | null
  /** One shared word: 1 = stop at the next block. */
  readonly stop: SharedArrayBuffer
}

export type ToWorker =
  | { readonly kind: 'move'; readonly places: Places }
  | { readonly kind: 'task'; readonly task: Task }

export type FromWorker =
  | { readonly kind: 'done'; readonly result: unknown }
  | { readonly kind: 'failed'; readonly failure: Failure }

/** An error as it crosses the border between threads, where classes are lost. */
type Failure =
  | { readonly name: 'Refusal'; readonly parts: ConstructorParameters<typeof Refusal>[0] }
  | { readonly name: 'Cancelled' }
  | { readonly name: 'Bug'; readonly message: string; readonly stack: string | undefined }

export function packFailure(error: unknown): Failure {
  if (error instanceof Refusal) {
    const { code, action, found, wanted, remedy } = error
    return { name: 'Refusal', parts: { code, action, found, wanted, remedy } }
  }
  if (error instanceof Cancelled) return { name: 'Cancelled' }
  const { message, stack } = error instanceof Error ? error : new Error(String(error))
  return { name: 'Bug', message, stack }
}

export function unpackFailure(failure: Failure): Error {
  if (failure.name === 'Refusal') return new Refusal(failure.parts)
  if (failure.name === 'Cancelled') return new Cancelled('stopped by the user')
  const bug = new Bug(failure.message)
  if (failure.stack !== undefined) bug.stack = failure.stack
  return bug
}
