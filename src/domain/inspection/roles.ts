import type { Role } from '../layout.ts'

/** One thing that does not fit the roles that the file claims for its channels. */
export type RoleFault = {
  readonly kind:
    | 'wrong-order'
    | 'swapped-sides'
    | 'swapped-front-and-surround'
    | 'duplicate'
    | 'inverted-duplicate'
    | 'inverted-pair'
    | 'full-range-lfe'
    | 'low-band-only'
    | 'silent'
    | 'dialogue-elsewhere'
  readonly channels: readonly Role[]
  readonly confidence: number
  /** What was seen, in sentences to the mixer. */
  readonly evidence: readonly string[]
  /** What to do about it. */
  readonly remedy: string
}

/** Signs that a multichannel mix was itself made from two tracks. */
export type StereoOrigin = {
  /** 0 (a mix of its own) to 1. */
  readonly confidence: number
  /** How each channel follows from L and R: null where it does not. */
  readonly derived: readonly {
    readonly role: Role
    /** Share of its energy that steady filters can make of L and R, 0..1. */
    readonly share: number
    /** By how much it lags L or R; null where no single delay stands out. */
    readonly lagMs: number | null
    /** Its level over that of the fronts. */
    readonly gainDb: number
  }[]
  readonly evidence: readonly string[]
}

/** Whether each channel of a multichannel programme is what the file says. */
export type Roles = {
  /** What speaks for the claimed roles, channel by channel. */
  readonly evidence: readonly string[]
  /** The order in which the channels really lie, where it is not the one they were read in: for `--order`. */
  readonly order: 'itu' | 'film' | 'aac' | null
  readonly faults: readonly RoleFault[]
  readonly stereoOrigin: StereoOrigin | null
}
