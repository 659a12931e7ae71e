import type { Cancellation } from '../domain/index.ts'
import type { ResultOf, Task } from './tasks.ts'

/** Who does the work: worker threads in `jobs`, a plain loop in tests. Results come in the order of the tasks. */
export interface Crew {
  map<T extends Task>(tasks: readonly T[], onDone?: () => void): Promise<ResultOf<T>[]>
}

/** How far a stage is, told after each segment. */
export type Progress = {
  readonly stage: 'listen' | 'analyse' | 'inspect' | 'measure' | 'forecast' | 'render' | 'verify' | 'write'
  /** Share of the whole run, 0..1. */
  readonly share: number
}

export type Watch = { readonly cancellation?: Cancellation; progress?(progress: Progress): void }
