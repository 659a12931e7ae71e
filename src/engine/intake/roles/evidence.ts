/** What two channels of one segment have in common. */
export type PairEvidence = {
  /** Channels, in channel order. */
  readonly a: number
  readonly b: number
  /** Sum of products of their samples. */
  readonly product: number
  /** Mean over the spectrum of the magnitude-squared coherence, 0..1. */
  readonly coherence: number
  /** Mean over the spectrum of the coherence's in-phase part, -1..1: unlike the product, the bass does not rule it. */
  readonly inPhase: number
  /** Where their cross-correlation by phase alone is highest: frames that b lags a; and how high, -1..1. */
  readonly lagFrames: number
  readonly peak: number
}

/** How much of a channel steady filters can make of others: weighted by its energy, 0..1. */
export type DerivedEvidence = { readonly channel: number; readonly share: number }

/** What one segment tells of the roles of its channels. */
export type RolesEvidence = {
  readonly frameCount: number
  /** Per channel: sum of squares. */
  readonly energies: readonly number[]
  /** Per channel: share of the energy above 250 Hz. */
  readonly highShares: readonly number[]
  readonly pairs: readonly PairEvidence[]
  /** C, Ls, Rs (and the rear pair) as made of L and R. */
  readonly derived: readonly DerivedEvidence[]
  /** Level from 300 to 3400 Hz per channel and window of about 0.17 s, channel by channel, as bytes of half decibels. */
  readonly speechBand: Uint8Array
  readonly windowFrames: number
}
