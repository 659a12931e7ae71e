/** Where a number of a spec comes from, and how sure we are of it. */
export type Clause = {
  readonly document: string
  readonly edition: string
  readonly clause: string
  /** `read` in the document itself, in a `summary` of it, or from `memory`: shown to the user. */
  readonly basis: 'read' | 'summary' | 'memory' | 'common practice' | 'user'
}

export type Limit = {
  readonly value: number
  /** A missed limit fails the delivery or only warns. */
  readonly severity: 'fail' | 'warn'
  readonly source: Clause
}

/**
 * A delivery spec as data. Lines that a document does not ask for are absent.
 * Upper limits are met when the measured value is at or below them.
 */
export type DeliverySpec = {
  /** Kebab-case, e.g. `atsc-a85-short`. */
  readonly id: string
  readonly title: string
  /** When this spec applies, in one sentence. */
  readonly purpose: string
  readonly edition: string
  /** What the loudness target is measured on. `dialogue` falls back to the gated total, with a note, below 15 % of dialogue. */
  readonly anchor: 'programme' | 'dialogue'
  readonly programmeLoudness: {
    readonly targetLkfs: number
    /** Allowed deviation below and above the target, both positive. */
    readonly toleranceBelowLu: number
    readonly toleranceAboveLu: number
    readonly source: Clause
  }
  readonly maxTruePeakDbtp?: Limit
  /** The line of the LFE, which is held below the other one as well. */
  readonly maxLfeTruePeakDbtp?: Limit
  /** Highest level of the LFE in 3 s, dBFS RMS. */
  readonly maxLfeShortTermDbfs?: Limit
  /** How far the LFE may stand above the low end of the fronts in 3 s. */
  readonly maxLfeOverFrontsDb?: Limit
  readonly maxShortTermLkfs?: Limit
  readonly maxMomentaryLkfs?: Limit
  readonly maxLoudnessRangeLu?: Limit
  /** Sample rates that are accepted; absent: any. */
  readonly sampleRatesHz?: readonly number[]
  readonly notes: readonly string[]
  /** Lines that the recipient does not insist on for one title: what is found there is told and fails nothing. */
  readonly waivers?: readonly Waiver[]
}

/** A line of the spec that was waived, by the name of its field in the measurements, and why. */
export type Waiver = { readonly line: string; readonly reason: string }
