import type { BandName } from './band-parameters.ts'

/** A trim of the mixer as the report tells it. */
export type AppliedTrim = {
  readonly startSeconds: number
  readonly endSeconds: number
  readonly gainDb: number
  readonly reason: string | null
}

/** Moves of the ride where ears do not forgive them: inside lines of dialogue, or in the second before hits. */
export type HeardMoves = {
  /** Lines, or hits, that there are. */
  readonly count: number
  /** Those of them with more movement than `movedFromDb`. */
  readonly movedCount: number
  readonly movedFromDb: number
  readonly largestDb: number
}

/** A stretch in which the ride lies at the upper bound of its corridor. */
export type RideTouch = {
  readonly startSeconds: number
  readonly endSeconds: number
  /** The lowest gain in it, beside the static gain. */
  readonly rideDb: number
  /** The line of the spec that sets the bound there. */
  readonly line: string
}

/** What was done to dialogue against what is heard around it. */
export type AlteredDialogue = {
  /** Dialogue over its background in the mix, the middle of all lines, before and after. */
  readonly overBackgroundBeforeLu: number | null
  readonly overBackgroundAfterLu: number | null
  /** The change of each line: its middle, and the largest either way; null where no line has a background. */
  readonly medianChangeLu: number | null
  readonly largestChangeLu: number | null
  /**
   * How far dialogue was turned down because of other channels, summed over the time in which somebody speaks; null
   * where dialogue has no channel of its own. The ride: its reduction times the share of the other channels in the
   * loudness of the 3 s around. The ceiling: what it took beyond what the peaks of the centre within 0.5 s needed.
   */
  readonly byOtherChannels: { readonly rideDbSeconds: number; readonly ceilingDbSeconds: number } | null
}

/** A line of dialogue over its background, before and after the fit; null where it has no background. */
export type AlteredLine = {
  readonly startSeconds: number
  readonly endSeconds: number
  readonly overBackgroundBeforeLu: number | null
  readonly overBackgroundAfterLu: number | null
}

/** What became of dialogue along the programme, for drawing; column i covers the time from i x columnSeconds on. */
export type DialogueHistory = {
  readonly lines: readonly AlteredLine[]
  readonly columnSeconds: number
  /**
   * How far dialogue was turned down because of other channels, deepest in each column, 0 or more, as `AlteredDialogue`
   * sums it; null where dialogue has no channel of its own.
   */
  readonly byOtherChannels: { readonly rideDb: readonly number[]; readonly ceilingDb: readonly number[] } | null
}

/** How long a ceiling worked, and how deep. */
export type CeilingWork = {
  readonly events: number
  readonly deepestDb: number
  /** Time in which it took more than 0.1, 1 and 3 dB. */
  readonly secondsBelow01Db: number
  readonly secondsBelow1Db: number
  readonly secondsBelow3Db: number
}

/** What channels that were limited by themselves left in the fronts of an upmix, which are the stereo less those channels. */
export type FrontResidueFigures = {
  /** Its level beside that of the fronts while it acts. */
  readonly besideFrontsDb: number
  readonly peakDbfs: number
  readonly seconds: number
}

/** What the stages changed, as numbers. A stage that did not run is null. */
export type Alteration = {
  /** What the mixer asked for; the stages of the fit come on top of it and are told without it. */
  readonly trims: readonly AppliedTrim[]
  /** Null where nobody listened, nobody speaks, or nothing was rendered. */
  readonly dialogue: AlteredDialogue | null
  readonly total: {
    readonly staticGainDb: number
    /** Highest true peak minus programme loudness. */
    readonly plrBeforeLu: number | null
    readonly plrAfterLu: number | null
    /** Likeness of the short-term loudness curves before and after, -1..1; 1 where only a constant was changed. */
    readonly shortTermCorrelation: number | null
    /** Largest distance of the two curves once the static gain is taken off. */
    readonly shortTermLargestChangeLu: number | null
  }
  readonly ride: {
    /** The proof in words: nothing moves less, and under which conditions. */
    readonly statement: string
    /** Sum of all rises and falls. */
    readonly movementDb: number
    /** The same, each step times what it costs there: the sum that no ride inside the corridor undercuts. */
    readonly weightedMovementDb: number
    /** The part of the movement inside lines of dialogue; null where nobody listened. */
    readonly movementInDialogueDb: number | null
    /** The lines that it moves in; null where nobody listened. */
    readonly lines: HeardMoves | null
    /** The hits that it announces. */
    readonly hits: HeardMoves
    readonly largestMoveDb: number
    /** Reduction summed over time. */
    readonly areaUnderReductionDbSeconds: number
    readonly largestSlewDbPerSecond: number
    /** Share of the time in which the gain moves, 0..1. */
    readonly movingShare: number
    /** Where the corridor forces the ride to move. */
    readonly touching: readonly RideTouch[]
  } | null
  /** The LFE's own ride, beside the gain of the other channels, which it does not move. */
  readonly lfe: {
    readonly statement: string
    readonly movementDb: number
    readonly largestMoveDb: number
    readonly areaUnderReductionDbSeconds: number
    readonly largestSlewDbPerSecond: number
    readonly movingShare: number
    readonly touching: readonly RideTouch[]
  } | null
  readonly bands: {
    readonly crossoverHz: number
    /** Deepest reduction of the low end, and reduction summed over time. */
    readonly lowEndDeepestDb: number
    readonly lowEndAreaDbSeconds: number
    /** Share of the time in which it is turned down, 0..1. */
    readonly lowEndActingShare: number
  } | null
  /** The bands that were turned down by hand, lowest first. */
  readonly multiband:
    | readonly {
        readonly name: BandName
        /** Crossovers of the band; null where it has no lower or no upper one. */
        readonly fromHz: number | null
        readonly toHz: number | null
        readonly deepestDb: number
        readonly areaDbSeconds: number
        readonly actingShare: number
      }[]
    | null
  /** The bands that were turned down because a line of the spec limits them, in the order of treatment; null: none were. */
  readonly bandLines:
    | readonly {
        /** Id of the line. */
        readonly line: string
        readonly fromHz: number | null
        readonly toHz: number | null
        readonly deepestDb: number
        readonly areaDbSeconds: number
        readonly actingShare: number
        /** Sum of all rises and falls. */
        readonly movementDb: number
      }[]
    | null
  readonly ceiling:
    | (CeilingWork & {
        readonly lfe: CeilingWork | null
        /** What groups of channels gave by themselves; empty where all are linked, or none gave anything. */
        readonly groups: readonly (CeilingWork & { readonly name: string })[]
        readonly frontResidue: FrontResidueFigures | null
      })
    | null
  /**
   * Energy that trims, low end, ride and ceiling together took of each octave, over all channels but the LFE, while any of
   * them acted; null where none did.
   */
  readonly octaves: {
    /** Share of the time in which something acted, 0..1. */
    readonly actingShare: number
    /** Positive: taken away. Null where the octave was silent. */
    readonly removed: readonly { readonly centreHz: number; readonly removedDb: number | null }[]
  } | null
}

/** What was taken away over time, thinned for drawing; column i covers the time from i x columnSeconds on. */
export type AlterationHistory = {
  readonly columnSeconds: number
  /** Deepest reduction of the ceiling in each column, 0 or more. */
  readonly ceilingDb: readonly number[]
  /** What each octave lost in each column, positive: taken away; null where it was silent; 0 where nothing acted. */
  readonly octaves: readonly { readonly centreHz: number; readonly removedDb: readonly (number | null)[] }[]
}
