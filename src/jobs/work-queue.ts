import { Cancelled, Refusal } from '../domain/index.ts'
import type { RefusalMessage, WorkMessage } from '../protocol/index.ts'

type Work = Pick<WorkMessage, 'titleId' | 'kind'> & {
  readonly run: (watch: {
    readonly signal: AbortSignal
    readonly progress: (told: { readonly stage: string; readonly share: number }) => void
  }) => Promise<WorkMessage['outcome']>
}

type Entry = { readonly work: Work; readonly stopper: AbortController; readonly done: Promise<void> }

/** Work on titles, one after the other, each with all workers; told to whoever listens, and stopped on request. */
export class WorkQueue {
  readonly #entries: Entry[] = []
  readonly #listeners = new Set<(message: WorkMessage) => void>()
  /** The last word on each piece of work, so that a page that comes later knows where things are. */
  readonly #last = new Map<string, WorkMessage>()
  #tail: Promise<void> = Promise.resolve()

  /** Takes work on, or gives the same work that waits already; resolves when it is over, whatever became of it. */
  add(work: Work): Promise<void> {
    const waiting = this.#find(work)
    if (waiting !== undefined) return waiting.done
    const stopper = new AbortController()
    const done = this.#tail.then(() => this.#perform(work, stopper))
    this.#entries.push({ work, stopper, done })
    this.#tail = done
    this.#tell(work, { state: 'waiting' })
    return done
  }

  stop(work: Pick<Work, 'titleId' | 'kind'>): void {
    this.#find(work)?.stopper.abort()
  }

  /** Resolves when this work, if there is any, is over. */
  async over(work: Pick<Work, 'titleId' | 'kind'>): Promise<void> {
    await this.#find(work)?.done
  }

  async stopAll(): Promise<void> {
    for (const { stopper } of this.#entries) stopper.abort()
    await this.#tail
  }

  isWorkingOn(titleId: string): boolean {
    return this.#entries.some(({ work }) => work.titleId === titleId)
  }

  /** Tells a listener what is going on and everything that follows; the returned function ends that. */
  listen(listener: (message: WorkMessage) => void): () => void {
    for (const message of this.#last.values()) listener(message)
    this.#listeners.add(listener)
    return () => this.#listeners.delete(listener)
  }

  async #perform(work: Work, stopper: AbortController): Promise<void> {
    const progress = (told: { readonly stage: string; readonly share: number }) =>
      this.#tell(work, { state: 'running', ...told })
    try {
      if (stopper.signal.aborted) throw new Cancelled('stopped before it began')
      progress({ stage: work.kind, share: 0 })
      const outcome = await work.run({ signal: stopper.signal, progress })
      this.#tell(work, { state: 'done', share: 1, outcome })
    } catch (error) {
      this.#tell(
        work,
        error instanceof Cancelled ? { state: 'stopped' } : { state: 'refused', refusal: explain(error) },
      )
    } finally {
      const index = this.#entries.findIndex((entry) => entry.work === work)
      if (index >= 0) this.#entries.splice(index, 1)
    }
  }

  #find({ titleId, kind }: Pick<Work, 'titleId' | 'kind'>): Entry | undefined {
    return this.#entries.find(({ work }) => work.titleId === titleId && work.kind === kind)
  }

  #tell({ titleId, kind }: Work, news: Pick<WorkMessage, 'state'> & Partial<WorkMessage>): void {
    const message = { titleId, kind, stage: kind, share: 0, refusal: null, outcome: null, ...news }
    this.#last.set(`${kind} ${titleId}`, message)
    for (const listener of this.#listeners) listener(message)
  }
}

/** Why something was not done, in the words of a refusal; a fault of ours is told as one. */
export function explain(error: unknown): RefusalMessage {
  if (error instanceof Refusal) return { code: error.code, message: `${error.message}. ${error.remedy}` }
  const message = error instanceof Error ? error.message : String(error)
  return { code: 'BUG', message: `This is a fault of Plimsoll, not of your file: ${message}` }
}
