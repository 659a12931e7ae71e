// The body of one worker thread: kernels of its own, files of its own, one task at a time.
import { parentPort, workerData } from 'node:worker_threads'
import { assert } from '../domain/index.ts'
import { perform } from '../engine/index.ts'
import { type CrewBirth, type FromWorker, packFailure, type ToWorker } from './crew-messages.ts'
import { instantiateKernels } from './kernels.ts'
import { Workplace } from './workplace.ts'

assert(parentPort !== null, 'crew-worker runs as a worker thread only')
const port = parentPort
const birth = workerData as CrewBirth
const stop = new Int32Array(birth.stop)
const workplace = new Workplace(
  instantiateKernels(birth.module, birth.memoryBytes),
  {
    get aborted() {
      return Atomics.load(stop, 0) !== 0
    },
  },
  birth,
)

port.on('message', (message: ToWorker) => {
  if (message.kind === 'move') workplace.move(message.places)
  else port.postMessage(answer(message.task))
})

function answer(task: Extract<ToWorker, { kind: 'task' }>['task']): FromWorker {
  try {
    return { kind: 'done', result: perform(workplace, task) }
  } catch (error) {
    return { kind: 'failed', failure: packFailure(error) }
  }
}
