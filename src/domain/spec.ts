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
  /** The line holds only for programmes of this length; absent: for all. */
  readonly length?: LengthRange
}

/** Programmes longer than the one and no longer than the other bound, in seconds; one of them at least is there. */
export type LengthRange = { readonly atMostSeconds?: number; readonly moreThanSeconds?: number }

/** What a line on a band looks at. */
export type BandLine = {
  /** Kebab-case; with spaces it is the band's name, e.g. `low-end`. */
  readonly id: string
  /** Null: the band reaches down to 0 Hz, or up to the top. Never both. */
  readonly fromHz: number | null
  readonly toHz: number | null
  /** The highest level in 3 s, or that of the programme as a whole. */
  readonly over: 'short-term' | 'programme'
  /** `value` is in dBFS RMS, or in dB over the programme loudness of the same file. */
  readonly beside: 'full-scale' | 'programme-loudness'
}

/** A limit on the level of a band, all channels but the LFE together. */
export type BandLevelLimit = Limit & BandLine

/** A line of a spec that does not hold for a programme of this length. */
export type LineLeftOut = {
  readonly field: string
  readonly name: string
  readonly length: LengthRange
  readonly seconds: number
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
  /** Each with an id of its own. */
  readonly bandLevels?: readonly BandLevelLimit[]
  /** Lines that `specForLength` has taken out. */
  readonly leftOut?: readonly LineLeftOut[]
  /** Sample rates that are accepted; absent: any. */
  readonly sampleRatesHz?: readonly number[]
  readonly notes: readonly string[]
  /** Lines that the recipient does not insist on for one title: what is found there is told and fails nothing. */
  readonly waivers?: readonly Waiver[]
}

/** A line of the spec that was waived, by the name of its field in the measurements, and why. */
export type Waiver = { readonly line: string; readonly reason: string }
