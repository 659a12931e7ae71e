import type { Tell } from './by-segment.ts'
import type { Progress, Watch } from './crew.ts'

/** Share of the run that each stage takes, by the clock of long programmes; only the progress line depends on it. */
const STAGE_SPANS: Readonly<Record<Progress['stage'], readonly [from: number, to: number]>> = {
  inspect: [0, 1],
  measure: [0, 1],
  write: [0, 1],
  listen: [0.12, 0.22],
  analyse: [0, 0.5],
  forecast: [0.5, 0.54],
  render: [0.54, 0.78],
  verify: [0.78, 1],
}

/** The same of an upmix that is only written: nothing is fitted. */
export const UPMIX_SPANS = {
  ...STAGE_SPANS,
  analyse: [0, 0.71],
  render: [0.71, 0.93],
  verify: [0.93, 1],
} as const

/** Share of a run with an upmix that is over when the tracks were read, and when they were listened to as well. */
export const READ_SHARE = 0.12
const HEARD_SHARE = STAGE_SPANS.listen[1]

/** Turns the share of a stage into the share of the run. */
export class Stages {
  readonly #watch: Watch
  readonly #spans: typeof STAGE_SPANS

  constructor(watch: Watch, spans = STAGE_SPANS) {
    this.#watch = watch
    this.#spans = spans
  }

  /** @param earliest share of the run that is over when the stage begins, where that is more than usual */
  tell(stage: Progress['stage'], earliest = 0): Tell {
    const [from, to] = this.#spans[stage]
    const start = Math.max(from, earliest)
    return (share) => this.#watch.progress?.({ stage, share: start + share * (to - start) })
  }

  /** Tells of the making of an upmix, before which its tracks were read and perhaps listened to. */
  tellUpmix(isHeard: boolean): Tell {
    return this.tell('analyse', isHeard ? HEARD_SHARE : READ_SHARE)
  }
}
