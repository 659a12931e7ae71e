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
  hasLearnt = false

  constructor(results: TaskResults, crew: Crew | null) {
    this.#results = results
    this.#crew = crew
  }

  async map<T extends Task>(tasks: readonly T[], onDone?: () => void): Promise<ResultOf<T>[]> {
    const keys = tasks.map((task) => JSON.stringify(task))
    const missing = tasks.filter((_, index) => !this.#results.has(keys[index]!))
    for (let known = missing.length; known < tasks.length; known++) onDone?.()
    if (missing.length > 0) {
      if (this.#crew === null) throw new NotRemembered('a task whose result is not remembered')
      const done = await this.#crew.map(missing, onDone)
      for (const [index, task] of missing.entries()) this.#results.set(JSON.stringify(task), done[index])
      this.hasLearnt = true
    }
    return keys.map((key) => this.#results.get(key) as ResultOf<T>)
  }
}
