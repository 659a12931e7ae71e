/** Bands that the spectrum up to half the sample rate is kept in. */
export const BAND_COUNT = 128

/** Fundamentals that mains hum can have: 50 and 60 Hz, as they are and moved by 25/24 or 24/25. */
export const HUM_BASES = [
  { mainsHz: 50, ratio: 1, speed: null },
  { mainsHz: 60, ratio: 1, speed: null },
  { mainsHz: 50, ratio: 25 / 24, speed: '25/24' },
  { mainsHz: 60, ratio: 25 / 24, speed: '25/24' },
  { mainsHz: 50, ratio: 24 / 25, speed: '24/25' },
  { mainsHz: 60, ratio: 24 / 25, speed: '24/25' },
] as const
export const HARMONIC_COUNT = 8
/** Numbers kept of each harmonic: its frequency in Hz, its level in dBFS (sine), dB over its neighbourhood. */
export const NUMBERS_PER_HARMONIC = 3

/** What one segment tells of one channel. */
export type ChannelEvidence = {
  /** Mean power in each of `BAND_COUNT` bands (mean square, full scale = 1). */
  readonly bands: Float32Array
  /** Power from 1 to 2, 2 to 4, 4 to 8 and 8 to 16 kHz in the quietest frames that are not black; 0 where none is. */
  readonly quiet: Float32Array
  /** For each base of `HUM_BASES` and each harmonic: `NUMBERS_PER_HARMONIC` numbers, of the quieter windows. */
  readonly harmonics: Float32Array
  /** Strongest line of half the frames between 15.4 and 16 kHz: Hz, dBFS, dB over its neighbourhood; null below 32 kHz. */
  readonly whistle: readonly [number, number, number] | null
}

export type SpectrumEvidence = { readonly channels: readonly ChannelEvidence[] }
