import { setImmediate } from 'node:timers/promises'
import { Worker } from 'node:worker_threads'
import { assert, Bug } from '../domain/index.ts'
import { perform, type Task } from '../engine/index.ts'
import { type CrewBirth, type FromWorker, type ToWorker, unpackFailure } from './crew-messages.ts'
import { instantiateKernels } from './kernels.ts'
import { type Places, Workplace } from './workplace.ts'

/** One of a crew: does one task at a time, with kernels, memory and open files of its own. */
export interface Hand {
  /** Tasks that it can be given at a time: one to do and, on another thread, one to go on with. */
  readonly depth: number
  move(places: Places): void
  work(task: Task): Promise<unknown>
  /** Resolves when the tasks in hand, if any, have ended one way or the other. */
  idle(): Promise<void>
  close(): Promise<void>
}

/** The thread that hands out may be at work itself for the length of a task, and this one shall not wait for it. */
const THREAD_DEPTH = 2

/** A hand on a thread of its own. */
export function hireThread(birth: CrewBirth): Hand {
  const worker = new Worker(new URL('../jobs/crew-worker.js', import.meta.url), { workerData: birth })
  const waiting: ((answer: FromWorker | Error) => void)[] = []
  const fail = (error: Error): void => {
    for (const settle of waiting.splice(0)) settle(error)
  }
  worker.on('message', (answer: FromWorker) => waiting.shift()?.(answer))
  worker.on('error', fail)
  worker.on('exit', (code) => fail(new Bug(`a worker thread ended with code ${code}`)))
  const tell = (message: ToWorker): void => worker.postMessage(message)
  const answer = (task: Task): Promise<FromWorker> => {
    return new Promise((resolve, reject) => {
      waiting.push((given) => (given instanceof Error ? reject(given) : resolve(given)))
      tell({ kind: 'task', task })
    })
  }
  return {
    depth: THREAD_DEPTH,
    move: (places) => tell({ kind: 'move', places }),
    async work(task) {
      assert(waiting.length < THREAD_DEPTH, `a hand has ${THREAD_DEPTH} tasks at most`)
      const given = await answer(task)
      if (given.kind === 'failed') throw unpackFailure(given.failure)
      return given.result
    },
    idle() {
      const last = waiting.at(-1)
      if (last === undefined) return Promise.resolve()
      return new Promise((resolve) => {
        waiting[waiting.length - 1] = (given) => {
          last(given)
          resolve()
        }
      })
    },
    async close() {
      await worker.terminate()
    },
  }
}

/** A hand on this very thread, at work while the others start. Signals are heard between its tasks. */
export function workHere(birth: CrewBirth): Hand {
  const stop = new Int32Array(birth.stop)
  const cancellation = {
    get aborted() {
      return Atomics.load(stop, 0) !== 0
    },
  }
  const workplace = new Workplace(instantiateKernels(birth.module, birth.memoryBytes), cancellation, birth)
  return {
    depth: 1,
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
