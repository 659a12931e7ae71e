import type { FrameRange } from '../frame-range.ts'

/** What two tracks can be to each other. */
export type TwoTrackKind =
  | 'silent'
  | 'one-sided'
  | 'dual-mono'
  | 'polarity-inverted'
  | 'time-offset'
  | 'matrix-encoded'
  | 'possibly-matrix-encoded'
  | 'plain-stereo'
  | 'split-track'
  | 'two-languages'
  | 'tone-on-a-track'
  | 'timecode-on-a-track'

export type TrackSide = 'left' | 'right'

/** Figures that speak for a kind; null where they say nothing about it. */
export type TwoTrackFigures = {
  /** Level of the left track over the right one, mean squares. */
  readonly levelDifferenceDb: number | null
  /** Correlation of the tracks at lag 0, -1 .. 1. */
  readonly rho: number | null
  /** What the tracks do not share once their levels and a lag of up to 0.1 ms are taken out, over what they carry. */
  readonly residualDb: number | null
  /** How late the right track is; negative: the left one. */
  readonly lagFrames: number | null
  readonly lagMicroseconds: number | null
  /** Share of the sound that is level-balanced and in phase, or in antiphase (|coherence| over 0.5). */
  readonly pos: number
  readonly neg: number
  /** The same for sound that leans to one side by more than 3 dB. */
  readonly posU: number
  readonly negU: number
  /**
   * Share of the sound up to 5 kHz at exactly equal level and opposite polarity, less what lies 90 degrees beside it:
   * 0 where phases are random.
   */
  readonly surroundShare: number
  /** The largest `surroundShare` of any 2 s. */
  readonly surroundShareMax: number
  /** How much of what lies within 1 dB and 30 degrees of there is within 0.35 dB and 10 degrees. */
  readonly surroundSharpness: number
  /** The same as `surroundShare` of all level-balanced sound, by quarters of the circle. */
  readonly antiphaseQuarterShare: number
  /** Antiphase that leans to one side over antiphase that does not, up to 5 kHz. */
  readonly antiphaseAsideRatio: number
  /** The tone of a tone track. */
  readonly toneHz: number | null
}

/** Linear timecode found on a track. */
export type TrackTimecode = {
  readonly side: TrackSide
  /** Frames a second as measured against the file's sample rate. */
  readonly measuredRate: number
  /** The nearest rate of the trade, with `drop` where the flag is set, e.g. `29.97 drop`. */
  readonly rate: string
  readonly firstLabel: string
  readonly lastLabel: string
  /** Frame of the programme where the first whole label begins. */
  readonly firstLabelFrame: number
  readonly labelCount: number
}

/** A stretch in which the two tracks are one thing to each other. */
export type TwoTrackStretch = FrameRange & {
  readonly kind: TwoTrackKind
  /** The track that has the sound, the dialogue, the tone or the timecode; the late one of an offset. */
  readonly side: TrackSide | null
  /** The right track is also upside down (an offset, or dual mono). */
  readonly isInverted: boolean
  /** 0 (a guess) to 1. */
  readonly confidence: number
  /** Sentences to the mixer. */
  readonly evidence: readonly string[]
  readonly figures: TwoTrackFigures
}

/** Delay between the tracks below one sample, as a tape head that stands askew makes it. */
export type Azimuth = {
  /** How late the right track is, along time. */
  readonly curve: readonly (FrameRange & { readonly delayMicroseconds: number })[]
  readonly leastMicroseconds: number
  readonly mostMicroseconds: number
  readonly medianMicroseconds: number
  /** What L + R (and so a derived centre) loses of a sound in the middle, at the median and at the worst delay. */
  readonly trebleLoss: readonly { readonly frequencyHz: number; readonly medianDb: number; readonly worstDb: number }[]
  readonly confidence: number
  readonly evidence: readonly string[]
}

/** Steady noise under a track. */
export type TrackHiss = {
  /** Mean square in the band, full scale = 0 dB; null where no steady noise was found. */
  readonly leftDbfs: number | null
  readonly rightDbfs: number | null
  readonly bandHz: readonly [number, number]
  /** How it was measured. */
  readonly method: string
  /** Steady noise that the tracks do not share, over the whole spectrum; null where none was found. */
  readonly floor: NoiseFloor | null
}

/**
 * Noise by bands: the smaller eigenvalue of the covariance of the two tracks. `bandsHz` are the borders of the bands, one
 * more than there are densities; a density is a mean square per Hz of one track, full scale = 1, and 0 where a band
 * holds no steady noise.
 */
export type NoiseFloor = { readonly bandsHz: readonly number[]; readonly densities: readonly number[] }

/** What lies on the two tracks of a programme. */
export type TwoTrackReport = {
  /** The kind of most of the programme, or `mixed` where no kind fills nine tenths of it. */
  readonly kind: TwoTrackKind | 'mixed'
  readonly confidence: number
  /** Sentences to the mixer. */
  readonly evidence: readonly string[]
  /** What to do about it, in sentences. */
  readonly advice: readonly string[]
  /** In order of time, without gap or overlap. */
  readonly stretches: readonly TwoTrackStretch[]
  /** Null where nothing can be said of it. */
  readonly azimuth: Azimuth | null
  readonly hiss: TrackHiss
  readonly timecode: readonly TrackTimecode[]
}
