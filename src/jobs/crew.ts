import { availableParallelism } from 'node:os'
import { Cancelled } from '../domain/index.ts'
import type { Crew, ResultOf, Task } from '../engine/index.ts'
import type { CrewBirth } from './crew-messages.ts'
import { type Hand, hireThread, workHere } from './hands.ts'
import type { Places } from './workplace.ts'

/** As many workers as there are processors, but not more than there are segments of work. */
export function chooseWorkerCount(asked: number | undefined, segments: number): number {
  return Math.max(1, Math.min(asked ?? availableParallelism(), segments))
}

/**
 * Hands that share nothing but the files. Tasks are handed out one by one, in order, to whoever is free; results come
 * back in the order of the tasks, so they do not depend on how many hands there are.
 */
export class WorkerCrew implements Crew {
  readonly #hands: readonly Hand[]
  readonly #stop: Int32Array

  constructor(
    options: Omit<CrewBirth, 'stop'> & {
      readonly workerCount: number
      /** On threads of their own, all of them; else one of them works here. */
      readonly aside: boolean
    },
  ) {
    const stop = new SharedArrayBuffer(Int32Array.BYTES_PER_ELEMENT)
    this.#stop = new Int32Array(stop)
    const { workerCount, aside, ...birth } = options
    const threads = Array.from({ length: aside ? workerCount : workerCount - 1 }, () => {
      return hireThread({ ...birth, stop })
    })
    this.#hands = aside ? threads : [...threads, workHere({ ...birth, stop })]
  }

  /** Tells every hand where the audio lies from now on. */
  move(places: Places): void {
    for (const hand of this.#hands) hand.move(places)
  }

  async map<T extends Task>(tasks: readonly T[], onDone?: () => void): Promise<ResultOf<T>[]> {
    const results: ResultOf<T>[] = new Array(tasks.length)
    let next = 0
    const work = async (hand: Hand): Promise<void> => {
      while (next < tasks.length) {
        if (Atomics.load(this.#stop, 0) !== 0) throw new Cancelled('stopped by the user')
        const index = next++
        results[index] = (await hand.work(tasks[index] as T)) as ResultOf<T>
        onDone?.()
      }
    }
    try {
      await Promise.all(this.#hands.flatMap((hand) => new Array(hand.depth).fill(hand).map(work)))
    } catch (error) {
      this.stop()
      await Promise.all(this.#hands.map((hand) => hand.idle()))
      throw error
    }
    return results
  }

  /** Asks every hand to stop at its next block. */
  stop(): void {
    Atomics.store(this.#stop, 0, 1)
  }

  async close(): Promise<void> {
    await Promise.all(this.#hands.map((hand) => hand.close()))
  }
}
