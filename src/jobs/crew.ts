import { availableParallelism } from 'node:os'
import { Worker } from 'node:worker_threads'
import { assert, Bug, Cancelled } from '../domain/index.ts'
import type { Crew, ResultOf, Task } from '../engine/index.ts'
import { type CrewBirth, type FromWorker, type ToWorker, unpackFailure } from './crew-messages.ts'
import type { KernelModule } from './kernels.ts'
import type { Places } from './workplace.ts'

/** As many workers as there are processors, but not more than there are segments of work. */
export function chooseWorkerCount(asked: number | undefined, segments: number): number {
  return Math.max(1, Math.min(asked ?? availableParallelism(), segments))
}

type Hand = { readonly worker: Worker; settle: ((answer: FromWorker | Error) => void) | null }

/**
 * Worker threads that share nothing but the files: each has kernels, memory and descriptors of its own.
 * Tasks are handed out one by one, in order, to whoever is free; results come back in the order of the tasks, so
 * they do not depend on how many workers there are.
 */
export class WorkerCrew implements Crew {
  readonly #hands: Hand[]
  readonly #stop: Int32Array

  constructor(options: {
    readonly kernels: KernelModule
    readonly memoryBytes: number
    readonly workerCount: number
    readonly places: Places
  }) {
    const stop = new SharedArrayBuffer(Int32Array.BYTES_PER_ELEMENT)
    this.#stop = new Int32Array(stop)
    const { memoryBytes, places } = options
    const workerData: CrewBirth = { module: options.kernels.module, memoryBytes, places, stop }
    this.#hands = Array.from({ length: options.workerCount }, () => hire(workerData))
  }

  get size(): number {
    return this.#hands.length
  }

  /** Tells every worker where the audio lies from now on. */
  move(places: Places): void {
    for (const hand of this.#hands) hand.worker.postMessage({ kind: 'move', places } satisfies ToWorker)
  }

  async map<T extends Task>(tasks: readonly T[], onDone?: () => void): Promise<ResultOf<T>[]> {
    const results: ResultOf<T>[] = new Array(tasks.length)
    let next = 0
    const work = async (hand: Hand): Promise<void> => {
      while (next < tasks.length) {
        if (Atomics.load(this.#stop, 0) !== 0) throw new Cancelled('stopped by the user')
        const index = next++
        results[index] = (await ask(hand, tasks[index] as T)) as ResultOf<T>
        onDone?.()
      }
    }
    try {
      await Promise.all(this.#hands.map(work))
    } catch (error) {
      this.stop()
      await Promise.all(this.#hands.map((hand) => idle(hand)))
      throw error
    }
    return results
  }

  /** Asks every worker to stop at its next block. */
  stop(): void {
    Atomics.store(this.#stop, 0, 1)
  }

  async close(): Promise<void> {
    await Promise.all(this.#hands.map((hand) => hand.worker.terminate()))
  }
}

function hire(workerData: CrewBirth): Hand {
  const worker = new Worker(new URL('./crew-worker.js', import.meta.url), { workerData })
  const hand: Hand = { worker, settle: null }
  const give = (answer: FromWorker | Error): void => {
    const { settle } = hand
    hand.settle = null
    settle?.(answer)
  }
  worker.on('message', give)
  worker.on('error', give)
  worker.on('exit', (code) => give(new Bug(`a worker thread ended with code ${code}`)))
  return hand
}

function ask(hand: Hand, task: Task): Promise<unknown> {
  assert(hand.settle === null, 'a worker has one task at a time')
  return new Promise((resolve, reject) => {
    hand.settle = (answer) => {
      if (answer instanceof Error) reject(answer)
      else if (answer.kind === 'failed') reject(unpackFailure(answer.failure))
      else resolve(answer.result)
    }
    hand.worker.postMessage({ kind: 'task', task } satisfies ToWorker)
  })
}

/** Resolves when the task in hand, if any, has ended one way or the other. */
function idle(hand: Hand): Promise<void> {
  const { settle } = hand
  if (settle === null) return Promise.resolve()
  return new Promise((resolve) => {
    hand.settle = (answer) => {
      settle(answer)
      resolve()
    }
  })
}
