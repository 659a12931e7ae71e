import { setImmediate } from 'node:timers/promises'
import { Worker } from 'node:worker_threads'
import { assert, Bug } from '../domain/index.ts'
import { perform, type Task } from '../engine/index.ts'
import { type CrewBirth, type FromWorker, type ToWorker, unpackFailure } from './crew-messages.ts'
import { instantiateKernels } from './kernels.ts'
import { type Places, Workplace } from './workplace.ts'

/** One of a crew: does one task at a time, with kernels, memory and open files of its own. */
export interface Hand {
  move(places: Places): void
  work(task: Task): Promise<unknown>
  /** Resolves when the task in hand, if any, has ended one way or the other. */
  idle(): Promise<void>
  close(): Promise<void>
}

/** A hand on a thread of its own. */
export function hireThread(birth: CrewBirth): Hand {
  const worker = new Worker(new URL('../jobs/crew-worker.js', import.meta.url), { workerData: birth })
  let settle: ((answer: FromWorker | Error) => void) | null = null
  const give = (answer: FromWorker | Error): void => {
    const waiting = settle
    settle = null
    waiting?.(answer)
  }
  worker.on('message', give)
  worker.on('error', give)
  worker.on('exit', (code) => give(new Bug(`a worker thread ended with code ${code}`)))
  const tell = (message: ToWorker): void => worker.postMessage(message)
  return {
    move: (places) => tell({ kind: 'move', places }),
    work(task) {
      assert(settle === null, 'a hand has one task at a time')
      return new Promise((resolve, reject) => {
        settle = (answer) => {
          if (answer instanceof Error) reject(answer)
          else if (answer.kind === 'failed') reject(unpackFailure(answer.failure))
          else resolve(answer.result)
        }
        tell({ kind: 'task', task })
      })
    },
    idle() {
      const waiting = settle
      if (waiting === null) return Promise.resolve()
      return new Promise((resolve) => {
        settle = (answer) => {
          waiting(answer)
          resolve()
        }
      })
    },
    async close() {
      await worker.terminate()
    },
  }
}

/** A hand on this very thread: a crew of one needs no other, and starts faster. Signals are heard between its tasks. */
export function workHere(birth: CrewBirth): Hand {
  const stop = new Int32Array(birth.stop)
  const cancellation = {
    get aborted() {
      return Atomics.load(stop, 0) !== 0
    },
  }
  const workplace = new Workplace(instantiateKernels(birth.module, birth.memoryBytes), cancellation, birth)
  return {
    move: (places) => workplace.move(places),
    async work(task) {
      await setImmediate()
      return perform(workplace, task)
    },
    idle: () => Promise.resolve(),
    async close() {
      workplace.close()
    },
  }
}
