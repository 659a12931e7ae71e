import type { Role } from '../layout.ts'

/** Mains hum: a steady line at the mains frequency or a multiple, there in the quiet frames too. */
export type Hum = {
  /** Exact frequency of the fundamental, measured or from its harmonics. */
  readonly fundamentalHz: number
  /** What it comes from: 50 or 60 Hz mains, as they are or at the speed that `speed` names. */
  readonly mainsHz: 50 | 60
  /** `25/24` and the like where the line lies at a mains frequency that a wrong speed moved; null otherwise. */
  readonly speed: string | null
  readonly harmonics: readonly {
    /** 1 for the fundamental. */
    readonly number: number
    /** Level of the sine: 0 dBFS reaches full scale. */
    readonly levelDbfs: number
    readonly overNeighbourhoodDb: number
  }[]
  readonly confidence: number
  readonly evidence: readonly string[]
}

/** A steep end of the spectrum below half the sample rate. */
export type BandLimit = {
  readonly cutHz: number
  /** How far the level falls within 1 kHz. */
  readonly stepDb: number
  /** What leaves such an end behind. */
  readonly suggests: 'lower-sample-rate' | 'lossy-coding' | 'either'
  readonly confidence: number
  readonly evidence: readonly string[]
}

/** A steady tone of a television's line frequency, picked up by a microphone or a cable. */
export type LineWhistle = {
  readonly frequencyHz: number
  readonly system: '625 lines' | '525 lines'
  readonly levelDbfs: number
  readonly overNeighbourhoodDb: number
}

/** What the spectrum of one channel tells of its past. */
export type ChannelSpectrum = {
  readonly role: Role
  readonly hum: Hum | null
  readonly bandLimit: BandLimit | null
  /** Level of steady noise from 1 to 16 kHz in the quietest frames; null where none is steady. */
  readonly hissDbfs: number | null
  readonly lineWhistle: LineWhistle | null
}
