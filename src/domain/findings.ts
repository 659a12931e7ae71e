/** `fail` makes a programme non-conforming; `warn` and `note` do not. */
export type Severity = 'fail' | 'warn' | 'note'

/** Where a finding stands, in seconds of the programme; `timecode` is null where the file carries none. */
export type Place = { readonly startSeconds: number; readonly endSeconds: number; readonly timecode: string | null }

/**
 * A statement about a programme: a value, never an exception.
 * `allowed` is an upper limit, a range `[low, high]`, or null where no number applies.
 */
export type Finding = {
  /** Stable kebab-case name, e.g. `programme-loudness`, `true-peak`, `stereo-offset`. */
  readonly id: string
  readonly severity: Severity
  /** The field of the measurements that it speaks of, or null. */
  readonly line: string | null
  readonly measured: number | null
  readonly allowed: number | readonly [number, number] | null
  readonly unit: string | null
  readonly at: Place | null
  /** The published document and clause, or `common practice`. */
  readonly source: string | null
  /** One sentence to the mixer: what was found and what to do. */
  readonly message: string
}

/**
 * "Cannot read or obey": the user gets what was found, what is needed and what to do; exit code 2.
 * Codes are stable upper-case names grouped by layer (`MEDIA_…`, `JOBS_…`, `CLI_…`, `PROTOCOL_…`).
 */
export class Refusal extends Error {
  readonly code: string
  readonly action: string
  readonly found: string
  readonly wanted: string
  readonly remedy: string

  constructor(parts: {
    readonly code: string
    /** What could not be done, e.g. `read "reel 1.wav"`. */
    readonly action: string
    readonly found: string
    readonly wanted: string
    /** One imperative sentence. */
    readonly remedy: string
    readonly cause?: unknown
  }) {
    // A list stands by itself, and what is needed under it.
    const need = parts.found.includes('\n') ? '\nNeeded:' : ', need'
    // The action stands in one line, whatever a file is called.
    const action = parts.action.replaceAll('\n', '\\n')
    super(`Cannot ${action}: found ${parts.found}${need} ${parts.wanted}`, { cause: parts.cause })
    this.name = 'Refusal'
    this.code = parts.code
    this.action = parts.action
    this.found = parts.found
    this.wanted = parts.wanted
    this.remedy = parts.remedy
  }
}

/** The user asked to stop; nothing half-written stays behind. */
export class Cancelled extends Error {
  override readonly name = 'Cancelled'
}

/** Our own fault; exit code 3. Nobody catches it but the job boundary. */
export class Bug extends Error {
  override readonly name = 'Bug'
}

export function assert(condition: boolean, message: string): asserts condition {
  if (!condition) throw new Bug(message)
}
