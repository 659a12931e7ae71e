/** Figures of a look, one typed array each. Powers are mean squares with the mean taken off, full scale = 1. */
export const LOOK_FIGURES = [
  'leftPower',
  'rightPower',
  'crossPower',
  /** Sum of the weights of all tiles; the shares below are sums of the same weights. */
  'weight',
  'inPhase',
  'antiphase',
  'inPhaseAside',
  'antiphaseAside',
  /** The same of the surround band alone, where a surround signal is looked for. */
  'bandWeight',
  'bandAntiphase',
  'bandAntiphaseAside',
  /** Its coherent tiles at equal level: in antiphase, and 90 degrees ahead or behind. */
  'evenAntiphase',
  'evenAhead',
  'evenBehind',
  /** Those of them that are exactly there. */
  'sharpAntiphase',
  'sharpAhead',
  'sharpBehind',
  /** Its coherent, balanced tiles in the quarter of the circle around antiphase, and half of those around +-90 degrees. */
  'antiphaseQuarter',
  'sidewaysQuarter',
  /** Share of the strongest line in each track's power, the least of the look, and its frequency. */
  'leftLine',
  'rightLine',
  'leftLineHz',
  'rightLineHz',
  /** Power in the hiss band of each track, and its geometric over its arithmetic mean: 0.56 for steady noise. */
  'leftHiss',
  'rightHiss',
  'leftFlatness',
  'rightFlatness',
] as const

export type LookFigure = (typeof LOOK_FIGURES)[number]
export type Looks = Readonly<Record<LookFigure, Float64Array>>

/** Speech-band power of a glance: what both tracks have, and what only one has. */
export type Glances = {
  readonly common: Float32Array
  readonly leftOnly: Float32Array
  readonly rightOnly: Float32Array
}

/** Correlation of coherent, balanced sound at `DELAY_STEPS` small delays, row after row, and its weight. */
export type FineDelays = {
  readonly curves: Float32Array
  readonly weights: Float32Array
  /** Correlation of all sound at the best small delay, signed. */
  readonly alignedRho: Float32Array
}

/** The strongest lag that is none of a tape head, against no lag. */
export type Lags = {
  /** How late the right track is. */
  readonly lagMicroseconds: Float32Array
  /** Height of the whitened correlation there (1 = nothing else) and beside lag 0, signed. */
  readonly peak: Float32Array
  readonly peakAtZero: Float32Array
  /** Plain correlation there and at lag 0. */
  readonly rho: Float32Array
  readonly rhoAtZero: Float32Array
}

/** A run of timecode labels that count on without a gap. */
export type LabelRun = {
  readonly side: 0 | 1
  /** Position of the first label's first bit and of the last label's, in frames of the programme. */
  readonly firstPosition: number
  readonly lastPosition: number
  readonly count: number
  readonly isDrop: boolean
  /** Hours, minutes, seconds, frames. */
  readonly first: readonly number[]
  readonly last: readonly number[]
}

/** What one segment leaves behind. */
export type TwoTrackEvidence = {
  readonly looks: Looks
  readonly glances: Glances
  readonly fine: FineDelays
  readonly lags: Lags
  /** What the tracks do not share: mean square per Hz, look by look and in them band by band. */
  readonly floors: Float32Array
  readonly labels: readonly LabelRun[]
}
