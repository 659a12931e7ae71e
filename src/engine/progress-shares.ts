import type { Tell } from './by-segment.ts'
import type { Progress, Watch } from './crew.ts'

/** Share of the run that each stage takes, by the clock of long programmes; only the progress line depends on it. */
const STAGE_SPANS: Readonly<Record<Progress['stage'], readonly [from: number, to: number]>> = {
  inspect: [0, 1],
  measure: [0, 1],
  write: [0, 1],
  listen: [0, 0.1],
  analyse: [0, 0.5],
  forecast: [0.5, 0.54],
  render: [0.54, 0.78],
  verify: [0.78, 1],
}

/** Turns the share of a stage into the share of the run. */
export class Stages {
  readonly #watch: Watch

  constructor(watch: Watch) {
    this.#watch = watch
  }

  tell(stage: Progress['stage']): Tell {
    const [from, to] = STAGE_SPANS[stage]
    return (share) => this.#watch.progress?.({ stage, share: from + share * (to - from) })
  }
}
