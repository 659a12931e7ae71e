import { createHash } from 'node:crypto'
import type { Crew, ResultOf, Task } from '../engine/index.ts'

/** What tasks gave, by the tasks; a task says all that its result depends on besides the audio. */
export type TaskResults = Map<string, unknown>

/** There is a task whose result is not remembered. */
export class NotRemembered extends Error {}

/**
 * Gives what is remembered, and has the rest done by a crew; without one, the first task that is not remembered ends it.
 * @throws {NotRemembered}
 */
export class RememberingCrew implements Crew {
  readonly #results: TaskResults
  readonly #crew: Crew | null
  readonly #asked = new Set<string>()
  readonly #digests = new WeakMap<object, string>()

  constructor(results: TaskResults, crew: Crew | null) {
    this.#results = results
    this.#crew = crew
  }

  async map<T extends Task>(tasks: readonly T[], onDone?: () => void): Promise<ResultOf<T>[]> {
    const keys = tasks.map((task) => this.#keyOf(task))
    for (const key of keys) this.#asked.add(key)
    const missing = tasks.map((_, index) => index).filter((index) => !this.#results.has(keys[index]!))
    for (let known = missing.length; known < tasks.length; known++) onDone?.()
    if (missing.length > 0) {
      if (this.#crew === null) throw new NotRemembered('a task whose result is not remembered')
      const done = await this.#crew.map(
        missing.map((index) => tasks[index]!),
        onDone,
      )
      for (const [place, index] of missing.entries()) this.#results.set(keys[index]!, done[place])
    }
    return keys.map((key) => this.#results.get(key) as ResultOf<T>)
  }

  /** Lets go of all results that nobody asked this crew for. */
  forgetOthers(): void {
    for (const key of this.#results.keys()) if (!this.#asked.has(key)) this.#results.delete(key)
  }

  /** A task in few words: what all segments are told alike can be as long as the programme, and is read once. */
  #keyOf(task: Task): string {
    return JSON.stringify(
      Object.entries(task).map(([name, value]) => [
        name,
        typeof value === 'object' && value !== null ? this.#digestOf(value) : value,
      ]),
    )
  }

  #digestOf(value: object): string {
    const known = this.#digests.get(value)
    if (known !== undefined) return known
    const digest = createHash('sha256').update(JSON.stringify(value)).digest('base64')
    this.#digests.set(value, digest)
    return digest
  }
}
