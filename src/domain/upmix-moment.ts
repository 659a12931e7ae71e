import type { UpmixSettings } from './upmix-parameters.ts'

/** What the weights of one moment were made from, in one band or in all of them; null where nothing sounded. */
export type SeenBand = {
  /** Share of the sound that left and right have in common, 0..1: what the centre is made from; null for Lt/Rt. */
  readonly common: number | null
  /** 0 for one sound, 1 for sound without relation between left and right; null for Lt/Rt. */
  readonly diffuseness: number | null
  /** Where the sound stands: (left power - right power) / both, 1 (left) to -1 (right). */
  readonly dominance: number | null
  /** Twice the power that left and right share in phase, over both: 1 in phase (C of an Lt/Rt), -1 out of phase (its S). */
  readonly inPhase: number | null
  /** How far the surrounds are held back for speech, 0 to -120; null for Lt/Rt. */
  readonly duckDb: number | null
}

/** What an upmix saw at one moment with one set of settings. */
export type SeenMoment = {
  /** Frames that it looked at, of the stretch or the programme. */
  readonly startFrame: number
  readonly endFrame: number
  /** Length of a transform, and how many stand behind the figures, a quarter of a transform apart. */
  readonly transformFrames: number
  readonly transformCount: number
  /** Onsets at which the sound was cut there, and each side weighed apart. */
  readonly onsetFrames: readonly number[]
  /** How surely something in the middle speaks, 0..1; null for Lt/Rt and where nothing sounded. */
  readonly speech: number | null
  /** As the third octaves of `UpmixMoment.bands`. */
  readonly bands: readonly SeenBand[]
  readonly total: SeenBand
}

/** What came of a moment in one band or in all of them. Levels in dBFS, mean square; null is silence. */
export type MadeBand = {
  /** Middle of the third octave; null for all of them. */
  readonly midHz: number | null
  readonly masterDbfs: { readonly left: number | null; readonly right: number | null }
  readonly channelsDbfs: Readonly<Record<'L' | 'R' | 'C' | 'LFE' | 'Ls' | 'Rs', number | null>>
  /** How the energy of the five is divided, sum 1; null where they are silent. */
  readonly shares: { readonly centre: number; readonly fronts: number; readonly surrounds: number } | null
}

/** One set of settings that sounds at a moment. */
export type HeardSettings = {
  /** Name of the scene; null outside of scenes and for one without a name. */
  readonly scene: string | null
  readonly isScene: boolean
  /** 1, or less inside a glide. */
  readonly share: number
  readonly settings: UpmixSettings
  readonly saw: SeenMoment
}

/** One moment of an upmix: what was seen and what was done. All frames are those of the programme. */
export type UpmixMoment = {
  /** Frame that was asked for. */
  readonly frame: number
  readonly startFrame: number
  readonly endFrame: number
  readonly isLtRt: boolean
  /** How late the right track is taken to be, in microseconds. */
  readonly azimuthMicroseconds: number
  /** Largest share first. */
  readonly heard: readonly HeardSettings[]
  readonly bands: readonly MadeBand[]
  readonly total: MadeBand
}
